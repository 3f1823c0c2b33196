"""What holds for every test."""

from __future__ import annotations

from hypothesis import settings

from tests.amount import LONG

# The usual run takes the same examples each time: a change never fails for another's reason. Other
# examples, and more, with SILTBOOK_FUZZ.
settings.register_profile("same", derandomize=True)
if not LONG:
    settings.load_profile("same")
