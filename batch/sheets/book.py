"""The result sheets together, as a workbook of their own that is then placed into the book."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from functools import partial
from io import BytesIO

from batch.model import Assessment
from batch.sheets import actions, findings, review, rows, trends, workings
from batch.sheets.kit import Kit
from templates import contract

# The same assessment must give the same bytes, so the file carries no clock.
_CREATED = dt.datetime(2000, 1, 1)
_WORKINGS_PART = f"xl/worksheets/sheet{contract.RESULT_SHEETS.index('Workings') + 1}.xml"


def result_workbook(
    assessment: Assessment, names: Mapping[str, str], book_name: str, version: str
) -> bytes:
    """The bytes of an .xlsx with exactly the contract's result sheets, in order.

    `names` gives each result sheet's final name in the book (its own where it is absent);
    formulas and links refer to the practitioner's sheets, which are not in this workbook.
    The same input gives the same bytes.
    """
    import xlsxwriter

    target = BytesIO()
    options = {
        "in_memory": True,
        "strings_to_urls": False,
        "strings_to_formulas": False,
        "strings_to_numbers": False,
    }
    with xlsxwriter.Workbook(target, options) as workbook:
        workbook.set_properties({"title": "Siltbook results", "created": _CREATED})
        kit = Kit(workbook, assessment, book_name, version)
        final = [names.get(default, default) for default in contract.RESULT_SHEETS]
        sheets = [workbook.add_worksheet(name) for name in final]
        actions.write(kit, sheets[0])
        review.write(kit, sheets[1])
        trends.write(kit, sheets[2], final[2])
        count = workings.write(kit, sheets[3])
        findings.write(kit, sheets[4])

    def edit(part: str, xml: str) -> str | None:
        if part.startswith("xl/charts/"):
            return trends.spelt_out(xml)
        if part == _WORKINGS_PART and count:
            return rows.filled(xml, workings.HEADER + 2, partial(workings.rows, assessment))
        return None

    return rows.rewrite(target.getvalue(), edit)
