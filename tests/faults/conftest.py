"""The process in which the tests of this folder let their children meet a fault."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.faults.support import Driver


@pytest.fixture(scope="module")
def driver(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Driver]:
    """Started in earnest for the tests of one file."""
    really = request.module.__name__.endswith(".test_kill")
    made = Driver(tmp_path_factory.mktemp("driver"), really)
    yield made
    made.close()
