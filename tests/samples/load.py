"""Loads the script that makes the sample workbooks, by its path; it is no installed package."""

from __future__ import annotations

import importlib.util
import sys
from functools import cache
from pathlib import Path
from types import ModuleType

from siltbook.batch.job import Reviewed, assess_bytes, review_bytes
from siltbook.batch.results import Assessment
from tests.amount import whole
from tests.office import Shared

FARMS = ("twelve-stations.xlsx", "real-life-psi.xlsx", "mixed-units.xlsx", "many-flows.xlsx")
USUAL = "many-flows.xlsx"  # the one that another program re-saves in the usual run
SAMPLES = Path(__file__).resolve().parents[2] / "sample_workbooks"


@cache
def load_make() -> ModuleType:
    """The module `sample_workbooks/make.py`."""
    spec = importlib.util.spec_from_file_location("siltbook_samples_make", SAMPLES / "make.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@cache
def assessed(name: str) -> Assessment:
    """One sample, for example 'portfolio/east-2026.xlsx', judged; not to be changed."""
    return assess_bytes((SAMPLES / name).read_bytes(), Path(name).name)


@cache
def reviewed(name: str) -> Reviewed:
    """One sample with its result sheets."""
    return review_bytes((SAMPLES / name).read_bytes(), name, name)


def resaved(name: str, office: Shared, recalculate: bool = True) -> bytes:
    """One of the samples `FARMS` with its result sheets, as another program saves it.

    All that tests ask for by one start of the program, for whichever test asks first.
    """
    farms = FARMS if whole() else (USUAL,)
    books = [reviewed(farm).package for farm in farms]
    return office.resaved(*books, recalculate=recalculate)[farms.index(name)]
