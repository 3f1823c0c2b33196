"""The result sheets together, as a workbook of their own that is then placed into the book."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from io import BytesIO

from batch.fingerprint import fingerprint
from batch.results import Assessment
from batch.sheets import actions, costs, findings, review, rows, runs, trends, water, workings
from batch.sheets.kit import Kit, new_workbook
from templates import contract

_WORKINGS_PART = f"xl/worksheets/sheet{contract.RESULT_SHEETS.index('Workings') + 1}.xml"


@dataclass(frozen=True)
class ResultBook:
    """The result sheets as an .xlsx; `longer` gives, by part, the pieces of a sheet with all rows.

    The rows of a long sheet are made only while they are placed into the person's book: written
    here, they would have to be taken apart again there.
    """

    package: bytes
    longer: Mapping[str, Callable[[bytes], Iterator[bytes]]]


def result_book(
    assessment: Assessment, names: Mapping[str, str], book_name: str, version: str
) -> ResultBook:
    """The contract's result sheets, in order, with the rows of the long one still to be made.

    `names` gives each result sheet's final name in the book (its own where it is absent);
    formulas and links refer to the practitioner's sheets, which are not in this workbook.
    The same input gives the same bytes.
    """
    target = BytesIO()
    with new_workbook(target, "Siltbook results") as workbook:
        kit = Kit(workbook, assessment, book_name, version, fingerprint(assessment.book))
        final = {default: names.get(default, default) for default in contract.RESULT_SHEETS}
        sheets = {default: workbook.add_worksheet(name) for default, name in final.items()}
        actions.write(kit, sheets["Actions"])
        review.write(kit, sheets["Station review"])
        trends.write(kit, sheets["Trends"], final["Trends"])
        runs.write(kit, sheets["Runs"])
        costs.write(kit, sheets["Costs"], final["Costs"])
        water.write(kit, sheets["Water review"])
        count = workings.write(kit, sheets["Workings"])
        findings.write(kit, sheets["Findings"])

    def edit(part: str, xml: str) -> str | None:
        return trends.spelt_out(xml) if part.startswith("xl/charts/") else None

    table = rows.LongTable(workings.HEADER + 2, count, partial(workings.rows, assessment))
    longer = {_WORKINGS_PART: partial(rows.filled, table=table)} if count else {}
    return ResultBook(rows.rewrite(target.getvalue(), edit), longer)
