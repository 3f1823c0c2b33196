"""The process in which the tests of this folder let their children meet a fault."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.faults.support import Driver


@pytest.fixture(scope="module")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Driver]:
    made = Driver(tmp_path_factory.mktemp("driver"))
    yield made
    made.close()
