"""Water and filtration in the `--json` document."""

from __future__ import annotations

from typing import Any

from siltbook.batch.model import Station
from siltbook.batch.numbers.water import Hazard, Tested, grade_fit, name_of, unit_of, water_review
from siltbook.batch.results import Assessment


def grade_json(station: Station, rule: str) -> dict[str, Any]:
    """Whether the grade suits the emitters (null: not known); the largest that does [µm]."""
    fit = grade_fit(station, rule)
    return {"grade_fits": fit.fits, "largest_grade_um": fit.largest}


def water_json(assessment: Assessment) -> list[dict[str, Any]]:
    """The clogging hazard per source and constituent; null where it is not known."""
    table = assessment.book.settings.clogging_table
    return [
        {
            "source": rating.source,
            "constituent": name_of(rating.constituent),
            "unit": unit_of(rating.constituent),
            **_tested_json("", rating.latest, rating.hazard),
            **_tested_json("worst_", rating.worst, rating.worst_hazard),
            "why": rating.why,
            "table": table,
            "other_tables": rating.others,
            "unsure": rating.unsure,
        }
        for rating in water_review(assessment.book, assessment.as_of)
    ]


def _tested_json(prefix: str, tested: Tested | None, hazard: Hazard | None) -> dict[str, Any]:
    return {
        f"{prefix}value": None if tested is None else tested.value,
        f"{prefix}side": None if tested is None else tested.side,
        f"{prefix}tested_on": None if tested is None else tested.on.isoformat(),
        f"{prefix}hazard": None if hazard is None else str(hazard),
    }
