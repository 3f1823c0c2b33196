"""Shorthands for asking which findings one rule gives."""

from __future__ import annotations

import datetime as dt

from siltbook.checks.findings import Finding
from siltbook.checks.fitness import check_book
from siltbook.templates.book import Book


def found(book: Book, code: str, as_of: dt.date | None = None) -> list[Finding]:
    """The findings of one rule in a book."""
    return [one for one in check_book(book, as_of) if one.rule == code]


def messages(book: Book, code: str, as_of: dt.date | None = None) -> list[str]:
    """The sentences of one rule in a book."""
    return [one.message for one in found(book, code, as_of)]
