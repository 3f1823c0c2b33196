"""What something costs, in the same figures on every machine and however busy it is.

No test asserts a time. Where work must not grow faster than what it works on, calls are counted;
where something would never end, it is stopped.
"""

from __future__ import annotations

import cProfile
import pstats
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType


def calls(do: Callable[[], object]) -> int:
    """How many functions `do` calls, those of C among them, in this thread."""
    profile = cProfile.Profile()
    profile.runcall(do)
    return int(pstats.Stats(profile).total_calls)  # type: ignore[attr-defined]


@contextmanager
def must_end(seconds: float = 60.0) -> Iterator[None]:
    """AssertionError in place of a hang: after so much processor time [s] of this process.

    Many times what is needed, so that no slow machine fails. Systems without such a clock wait.
    """
    if not hasattr(signal, "setitimer"):
        yield
        return

    def stop(_signal: int, _frame: FrameType | None) -> None:
        raise AssertionError(f"not at its end after {seconds:g} s of processor time")

    before = signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)
