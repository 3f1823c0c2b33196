"""A formula that somebody changed into another is an edit; one that a program rewrote is none."""

from __future__ import annotations

import io
from dataclasses import replace

import openpyxl
import pytest

from siltbook.batch.audit.formulas import same_meaning
from siltbook.batch.typed.edited import Leaf, leaves, lost, other_formulas, unlike_cells


def leaf(*formulas: str) -> Leaf:
    book = openpyxl.Workbook()
    for row, formula in enumerate(formulas, start=1):
        book.worksheets[0].cell(row, 1).value = formula
    target = io.BytesIO()
    book.save(target)
    (found,) = leaves(target.getvalue()).values()
    return replace(found, cells={(row + 1, 0): 7.0 for row in range(len(formulas))})


def test_another_formula_with_the_same_result_is_a_changed_cell() -> None:
    old, new = leaf("=B1*2", "=SUM(B1:B9)"), leaf("=B1*2", "=SUM(B1:B8)")
    assert unlike_cells(old, new) == []
    assert other_formulas(old, new) == [(2, 0)]
    assert lost(old, new, other_formulas(old, new)) == "1 cell changed"
    assert other_formulas(old, old) == []


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("SUM(A:A)", "SUM(A$1:A$1048576)"), ("IF(A1,TRUE,FALSE)", "IF(A1,TRUE(),FALSE())"),
        ("A1 + 1", "A1+1"), ("+A1", "A1"), ("_xlfn.MAXIFS(A1,B1,1)", "MAXIFS(A1,B1,1)"),
        ("[@Inlet]-1", "T1[[#This Row],[Inlet]]-1"), ("SUM(2:3)", "SUM($A2:$XFD3)"),
    ],
)  # fmt: skip
def test_what_programs_rewrite_is_the_same(one: str, other: str) -> None:
    assert same_meaning(one, other)


@pytest.mark.parametrize(
    ("one", "other"), [("SUM(A1:A9)", "SUM(A1:A8)"), ('"a b"', '"ab"'), ("A1+1", "A1-1")]
)
def test_what_says_another_thing_is_not(one: str, other: str) -> None:
    assert not same_meaning(one, other)
