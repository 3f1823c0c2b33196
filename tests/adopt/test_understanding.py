"""The seeded benchmark of understanding, as a gate: nothing wrong, at most a fifth asked."""

from __future__ import annotations

import pytest

from sample_workbooks import as_kept
from tests.amount import whole
from tests.benchmarks.adopt import CORPORA, TUNED, public, seeded
from tests.samples.load import SAMPLES


def test_nothing_is_wrongly_mapped_and_little_is_asked() -> None:
    total = seeded(TUNED)
    assert total.tables >= 60
    assert total.wrong == []
    assert total.asked <= total.columns / 5


@pytest.mark.skipif(not CORPORA.is_dir(), reason="the public files are not here")
def test_public_spreadsheets_are_no_filter_readings() -> None:
    became = public(1 if whole() else 6)
    assert len(became) >= 10
    assert [name for name, what in became.items() if what == "mapped without a question"] == []
    if not whole():
        return
    not_readings = sum(what == "not readings" for what in became.values())
    page = (SAMPLES.parent / "docs" / "adopt.md").read_text(encoding="utf-8")
    assert (
        f"Of {len(became)} public spreadsheet files of other people's test data that open "
        f"(`../shared/corpora`, where it is there), {not_readings} are recognised as no filter "
        f"readings; from {len(became) - not_readings}, columns would be asked about;"
    ) in page


def test_the_samples_as_kept_are_those_that_their_maker_makes() -> None:
    for name, data in as_kept.files().items():
        assert (SAMPLES / name).read_bytes() == data, name
