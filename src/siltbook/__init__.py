"""Siltbook: reads a farm's filter-station workbook and judges every station.

    import siltbook

    judged = siltbook.judge("farm.xlsx")
    judged.verdicts[["station", "verdict", "reason"]]

`read`, `check`, `judge`, `review`, `audit` and `reviewed_bytes` are the public interface;
docs/python.md shows each at work. Nothing heavy is imported before one of them is used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from siltbook.batch.interface import (
        Audited,
        BookError,
        GraftError,
        Judged,
        Read,
        Review,
        audit,
        check,
        judge,
        read,
        review,
        reviewed_bytes,
    )

__version__ = "0.2.0"
__all__ = [
    "Audited",
    "BookError",
    "GraftError",
    "Judged",
    "Read",
    "Review",
    "audit",
    "check",
    "judge",
    "read",
    "review",
    "reviewed_bytes",
]


def __getattr__(name: str) -> Any:
    """The interface, imported when it is first asked for."""
    if name not in __all__:
        raise AttributeError(f"module 'siltbook' has no attribute {name!r}")
    from siltbook.batch import interface

    return getattr(interface, name)


def __dir__() -> list[str]:
    return sorted((*globals(), *__all__))
