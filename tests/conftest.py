"""What holds for every test."""

from __future__ import annotations

import os
import sys

from hypothesis import settings

from tests.amount import LONG

# Compiled modules are kept, as an installation keeps them, whatever this process was told: some
# tests start the program anew, and it would be compiled anew each time.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# The usual run takes the same examples each time: a change never fails for another's reason. Other
# examples, and more, with SILTBOOK_FUZZ.
settings.register_profile("same", derandomize=True)
if not LONG:
    settings.load_profile("same")
