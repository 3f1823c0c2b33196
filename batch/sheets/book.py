"""The result sheets together, as a workbook of their own that is then placed into the book."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from io import BytesIO
from zipfile import ZipFile

from siltbook.batch.fingerprint import fingerprint, typed_print
from siltbook.batch.results import Assessment
from siltbook.batch.sheets import (
    actions,
    costs,
    findings,
    review,
    rows,
    runs,
    sums,
    trends,
    water,
    workings,
)
from siltbook.batch.sheets.kit import Kit, new_workbook
from siltbook.batch.tables.runs import RUNS
from siltbook.batch.tables.stations import STATION_REVIEW
from siltbook.batch.tables.workings import workings as columns_of
from siltbook.templates import contract
from siltbook.templates.book import column_letters


@dataclass(frozen=True)
class ResultBook:
    """The result sheets as an .xlsx; `longer` gives, by part, the pieces of it when it is whole.

    The rows of long tables and the figures of charts are made only while they are placed into the
    person's book: written here, they would have to be taken apart again there.
    """

    package: bytes
    longer: Mapping[str, Callable[[bytes], Iterator[bytes]]]


def result_book(
    assessment: Assessment, names: Mapping[str, str], book_name: str, version: str
) -> ResultBook:
    """The contract's result sheets, in order, with the rows of their long tables still to be made.

    `names` gives each result sheet's final name in the book (its own where it is absent);
    formulas and links refer to the practitioner's sheets, which are not in this workbook.
    The same input gives the same bytes.
    """
    target = BytesIO()
    with new_workbook(target, "Siltbook results") as workbook:
        boxes = [r.box.content for r in assessment.stations if r.box]
        prints = fingerprint(assessment.book), typed_print(assessment.book, boxes)
        kit = Kit(workbook, assessment, book_name, version, *prints)
        final = {default: names.get(default, default) for default in contract.RESULT_SHEETS}
        sheets = {default: workbook.add_worksheet(name) for default, name in final.items()}
        long: dict[str, tuple[int, list[rows.LongTable]]] = {}
        long["Actions"] = actions.LAST + 1, actions.write(kit, sheets["Actions"])
        made = review.write(kit, sheets["Station review"])
        long["Station review"] = STATION_REVIEW.last + 1, made
        points, made = trends.write(kit, sheets["Trends"], final["Trends"])
        long["Trends"] = trends.LAST + 1, made
        long["Runs"] = RUNS.last + 1, runs.write(kit, sheets["Runs"])
        long["Costs"] = sums.LAST + 1, costs.write(kit, sheets["Costs"], final["Costs"])
        long["Water review"] = water.LAST + 1, water.write(kit, sheets["Water review"])
        long["Workings"] = columns_of(kit.shown).last + 1, workings.write(kit, sheets["Workings"])
        findings.write(kit, sheets["Findings"])

    package = target.getvalue()

    def chart(xml: bytes) -> Iterator[bytes]:
        yield trends.spelt_out(points.copied(xml.decode())).encode()

    with ZipFile(target) as parts:
        charts = dict.fromkeys(filter(_is_chart, parts.namelist()), chart)
    longer = {
        f"xl/worksheets/sheet{contract.RESULT_SHEETS.index(name) + 1}.xml": partial(
            rows.filled, width=column_letters(width - 1), tables=tables
        )
        for name, (width, tables) in long.items()
        if tables
    }
    return ResultBook(package, {**charts, **longer})


def _is_chart(part: str) -> bool:
    return part.startswith("xl/charts/chart")
