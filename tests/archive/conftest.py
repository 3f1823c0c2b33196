"""Archives made once: two seasons of invented farms, and a book that is full of dirt."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from siltbook.batch.archive.folder import Season, put, season
from tests.samples.load import SAMPLES

PORTFOLIO = SAMPLES / "portfolio"


def archived(path: Path) -> Season:
    return season(path.read_bytes(), path.name)


@pytest.fixture(scope="session")
def east() -> Season:
    return archived(PORTFOLIO / "east-2026.xlsx")


@pytest.fixture(scope="session")
def dirty() -> Season:
    return archived(SAMPLES / "real-life-psi.xlsx")


@pytest.fixture(scope="session")
def kept(tmp_path_factory: pytest.TempPathFactory, east: Season) -> Path:
    """Both seasons of one farm, as folders side by side; not to be changed."""
    home = tmp_path_factory.mktemp("kept")
    put(archived(PORTFOLIO / "east-2025.xlsx").files, home / "east-2025")
    put(east.files, home / "east-2026")
    return home


@pytest.fixture
def archive(kept: Path, tmp_path: Path) -> Path:
    """A copy of one archive, to be tampered with."""
    return Path(shutil.copytree(kept / "east-2026", tmp_path / "east-2026"))
