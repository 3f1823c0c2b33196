"""A cell that a person lets the book calculate keeps its formula, whatever a copy has there."""

from __future__ import annotations

import re
import zipfile
from io import BytesIO

import openpyxl
import pytest

from siltbook.batch.merging.job import Merged
from tests.merging.test_merge import BOOK, cell, changed, choose, merged
from tests.typed.farm import opened

_EMPTY = re.compile(r'(<c r="([A-Z]+2)"[^<>]*)(><f>[^<>]*</f>)(?:<v ?/>|<v></v>)')


def stored(data: bytes, **results: float | str) -> bytes:
    """The book with results stored beside its formulas of row 2, as spreadsheet programs do."""

    def result(found: re.Match[str]) -> str:
        value = results.get(found[2])
        if value is None:
            return found[0]
        kind = ' t="str"' if isinstance(value, str) else ""
        return f"{found[1]}{kind}{found[3]}<v>{value}</v>"

    out = BytesIO()
    with zipfile.ZipFile(BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            part = old.read(name)
            if name.startswith("xl/worksheets/sheet"):
                part = _EMPTY.sub(result, part.decode()).encode()
            new.writestr(name, part)
    return out.getvalue()


def own(outlet: float = 3.0, flag: str = '=IF(T2>1,"high","")') -> bytes:
    book = BOOK
    for ref, value in (("T1", "My drop"), ("U1", "Flag"), ("T2", "=D2-E2"), ("U2", flag)):
        book = changed(book, cell("Readings", ref, value))
    return stored(changed(book, cell("Readings", "D2", outlet)), T2=outlet - 2.8, U2="")


def said(done: Merged) -> list[tuple[object, ...]]:
    return [(p.op, p.header, p.mine, p.theirs, p.cell) for p in done.points]


def cells(done: Merged, *refs: str) -> list[object]:
    assert done.data is not None
    sheet = opened(done.data)["Readings"]
    return [sheet[ref].value for ref in refs]


def test_a_result_that_changed_with_an_input_is_not_written_over_the_formula() -> None:
    """The outlet comes from the copy; 'My drop' came as a number in place of '=D2-E2'."""
    done = merged(own(), own(3.5), base=own())
    assert cells(done, "D2", "T2", "U2") == [3.5, "=D2-E2", '=IF(T2>1,"high","")']
    assert (done.changed, done.points) == (1, ())


def test_what_somebody_typed_over_a_formula_is_asked() -> None:
    """A formula that gives nothing is no blank cell, with or without a stored result."""
    for mine in (own(), changed(own(), lambda book: None)):  # the second has no results stored
        for base in (None, own()):
            done = merged(mine, own(flag="looked at"), base=base)
            (point,) = (p for p in done.points if p.header == "Flag")
            assert (point.op, point.theirs, point.cell) == ("cell", "looked at", "Readings!U2")
            assert cells(done, "U2") == ['=IF(T2>1,"high","")']
    assert done.data is not None
    assert cells(merged(choose(done.data, "take that")), "U2") == ["looked at"]


@pytest.mark.at_length  # what was typed over a formula is asked above
def test_another_formula_of_the_copy_is_said() -> None:
    other = stored(changed(own(), cell("Readings", "T2", "=D2-E2+1")), T2=1.2, U2="")
    done = merged(own(), other, base=own())
    assert [line[:2] for line in said(done)] == [("cell", "My drop")]
    outlet = changed(own(), cell("Readings", "D2", "=2+1"))
    mine, theirs = (
        stored(outlet, D2=3.0),
        stored(changed(own(), cell("Readings", "D2", "=2+2")), D2=4.0),
    )
    done = merged(mine, theirs, base=mine)
    assert ("cell", "Outlet pressure", 3.0, 4.0, "Readings!D2") in said(done)
    assert cells(done, "D2") == ["=2+1"]


def test_digits_that_another_program_cut_off_are_no_difference() -> None:
    """Another program keeps 15 digits: the blank's hidden sheet Units stood on Conflicts."""
    kept = changed(BOOK, lambda book: book.create_sheet("Mine").append([0.10197162129779283]))
    cut = changed(BOOK, lambda book: book.create_sheet("Mine").append([0.101971621297793]))
    assert merged(kept, cut).points == ()
    other = changed(BOOK, lambda book: book.create_sheet("Mine").append([0.102]))
    assert [p.op for p in merged(kept, other).points] == ["placeless"]


def column(formula: str) -> bytes:
    def how(book: openpyxl.Workbook) -> None:
        sheet = book["Readings"]
        sheet["H1"] = "Own"
        for row in range(2, 6):
            sheet.cell(row, 8).value = formula.replace("#", str(row))

    return changed(BOOK, how)


def test_a_formula_that_the_copy_has_in_another_way_is_said_once_for_its_column() -> None:
    mine, theirs = column("=C#-D#"), column("=(C#-D#)*2")
    point = ("formula", "Own", "=C2-D2", "=(C2-D2)*2", "Readings!H2")
    assert said(merged(mine, theirs)) == [point]
    assert said(merged(mine, theirs, base=mine)) == [point]
    assert said(merged(mine, theirs, base=theirs)) == []
    assert said(merged(mine, column("=$C#-D#"))) == []


def test_a_formula_without_a_result_in_place_of_a_number_is_said() -> None:
    point = ("formula", "Outlet pressure", 2.8, "=C2-0.2", "Readings!D2")
    assert said(merged(BOOK, changed(BOOK, cell("Readings", "D2", "=C2-0.2")))) == [point]
