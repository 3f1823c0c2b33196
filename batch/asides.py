"""Giving a file that is to be kept a name of its own, which nothing else has or gets."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path


def set_aside(target: Path) -> Path | None:
    """Give a file the first free NAME.kept-N, and say which; None where the file is gone by now.

    As a second name where the disk knows hard links: no other run can take it meanwhile.
    """
    number = 1
    while True:
        kept = target.with_name(f"{target.stem}.kept-{number}{target.suffix}")
        number += 1
        try:
            os.link(target, kept)
        except FileNotFoundError:
            return None
        except OSError:
            if os.path.lexists(kept):
                if one_file(kept, target):
                    return kept  # a run that was killed here began it
                continue
            os.rename(target, kept)
        return kept


def one_file(kept: Path, target: Path) -> bool:
    """Whether both are names of one file; not where one is missing."""
    with contextlib.suppress(OSError):
        return os.path.samefile(kept, target)
    return False
