"""What holds for every test."""

from __future__ import annotations

import os

from hypothesis import settings

# The usual run takes the same examples each time: a change never fails for another's reason. Other
# examples, and more, with SILTBOOK_FUZZ.
settings.register_profile("same", derandomize=True)
if not os.environ.get("SILTBOOK_FUZZ"):
    settings.load_profile("same")
