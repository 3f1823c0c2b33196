"""The reviewed sample that somebody goes on in keeps what the meeting wrote."""

from __future__ import annotations

import shutil
from pathlib import Path

from click.testing import CliRunner

from siltbook.batch.cli import main
from siltbook.batch.typed.boxes import read_boxes
from tests.samples.load import SAMPLES, load_make

make = load_make()
BOOK = SAMPLES / make.IN_USE / make.REVIEWED


def boxes(data: bytes) -> dict[str, tuple[str, str, str]]:
    return {box.station: box.content for box in read_boxes(data, BOOK.name).boxes}


def test_what_the_meeting_wrote_is_there_after_the_next_run(tmp_path: Path) -> None:
    wrote = {s: (what, who, str(due)) for s, (what, who, due) in make.twelve.BOXES.items()}
    assert boxes(BOOK.read_bytes()) == wrote
    book = tmp_path / BOOK.name
    shutil.copy(BOOK, book)
    done = CliRunner().invoke(main, ["run", str(book)])
    assert done.exit_code == 0, done.output
    assert boxes(book.read_bytes()) == wrote
