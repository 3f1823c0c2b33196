"""Where a pack and its PDF go, and what they may replace: nothing that somebody wrote."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from pathlib import Path

from siltbook.batch.errors import BookError
from siltbook.batch.files import BOOK_ENDINGS, make_folder, open_file
from siltbook.batch.guard import within
from siltbook.batch.review.month import Month
from siltbook.batch.review.page import PACK_MARK
from siltbook.batch.typed.stamp import untouched

BADGE = ".review-"  # stands in a pack's name, so that no pack is taken for a book
# Behind a PDF's end, where readers pass it over: ours, and nobody has written notes into it.
PDF_MARK = b"% Siltbook review pack\n"
_OTHER_ENDINGS = (*BOOK_ENDINGS, ".pdf")
_COPY = re.compile(r"(?P<stem>.+)\.(?:reviewed|audited|previous(?:-\d+)?|kept-\d+)", re.DOTALL)


def pack_path(books: Sequence[Path], month: Month, out: Path | None) -> Path:
    """Where the pack goes: `out` itself where it ends in .xlsx, else a name in that folder.

    Without `out` it goes beside the book, or into the folder of books. BookError where the
    folder cannot be made.
    """
    if out is not None and out.suffix.lower() == ".xlsx":
        folder, target = out.parent, out
    else:
        if out is not None and out.suffix.lower() in _OTHER_ENDINGS and not os.path.isdir(out):
            raise BookError(
                f"{out}: a pack ends in .xlsx, and its PDF gets the same name; give a name that "
                "ends so, or a folder."
            )
        first = books[0]
        single = len(books) == 1
        name = (first.stem if os.path.isfile(first) else first.resolve().name) if single else ""
        folder = out or (first.parent if os.path.isfile(first) else first)
        target = folder / f"{name or 'portfolio'}{BADGE}{month}.xlsx"
    make_folder(folder)
    return target


def refuse_loss(target: Path, pdf: bool) -> None:
    """BookError where a pack at `target` would replace what is no pack, or one that was saved.

    With `pdf` also where the PDF beside it would replace one that is no untouched PDF of a pack.
    """
    beside = target.with_suffix(".pdf")
    if pdf and os.path.exists(beside) and not open_file(beside).data.endswith(PDF_MARK):
        raise BookError(
            f"{beside} exists and is not this pack's, or somebody wrote into it: choose another "
            "name by --out, or give --no-pdf."
        )
    if not os.path.exists(target):
        return
    data = open_file(target).data
    if untouched(data, PACK_MARK):
        return
    try:
        read = "siltbook.batch.review.minutes:read_pack"
        minutes = within(read, data, str(target), data, str(target))
    except BookError as error:
        raise BookError(
            f"{target} exists and is no review pack: choose another name by --out."
        ) from error
    if minutes.rows:
        count = f"{len(minutes.rows)} row{'' if len(minutes.rows) == 1 else 's'}"
        raise BookError(
            f"{target} holds {count} that a meeting filled in: it was not replaced; carry them "
            "over by 'siltbook agree' and move the pack away, or choose another name by --out."
        )
    raise BookError(
        f"{target} was saved since this version of Siltbook wrote it, or is of an earlier one, and "
        "may hold what somebody typed: it was not replaced; move it away, or choose another name "
        "by --out."
    )


def refuse_copy(book: Path) -> None:
    """BookError where a book is a copy that the next run replaces, beside the book itself.

    A reviewed copy in which somebody goes on, and which a run replaced in its place, is a book.
    """
    found = _COPY.fullmatch(book.stem)
    if found is None or _goes_on(book):
        return
    for ending in BOOK_ENDINGS:
        original = book.with_name(f"{found['stem']}{ending}")
        if os.path.exists(original):
            raise BookError(
                f"{book} is a copy that Siltbook made of {original.name}, and rows added to it "
                f"would be lost: give {original}; nothing was changed."
            )


def _goes_on(book: Path) -> bool:
    """Whether the result sheets in a file were made from a book of its own name."""
    if not os.path.isfile(book):
        return False
    data = open_file(book).data
    mark = within("siltbook.batch.typed.boxes:read_boxes", data, book.name, data, book.name).mark
    return mark is not None and mark.book_name == book.name
