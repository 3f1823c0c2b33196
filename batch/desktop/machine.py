"""What an icon needs to know of the machine, in one value: a test gives another system's."""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from siltbook.batch.errors import BookError, why

TIMEOUT = 120.0  # [s]; the first start of a system's own tool may take long
Runs = Callable[[Sequence[str], Mapping[str, str]], str]


@dataclass(frozen=True)
class Machine:
    """A system (as `sys.platform` names it), a person's home, and how its tools are run.

    `scripts` are the folders in which the programs of this installation may lie; `run` takes the
    words of a command and what is added to its environment, and gives what it printed.
    """

    system: str
    home: Path
    environment: Mapping[str, str]
    scripts: tuple[Path, ...]
    run: Runs


def this_machine() -> Machine:
    """The machine that this runs on."""
    user = sysconfig.get_preferred_scheme("user")
    begun = Path(sys.argv[0]).absolute().parent
    scripts = (Path(sysconfig.get_path("scripts")), Path(sysconfig.get_path("scripts", user)))
    return Machine(sys.platform, Path.home(), dict(os.environ), (*scripts, begun), run)


def program(machine: Machine, name: str) -> Path:
    """The absolute path of a program of this installation; BookError where it is not there."""
    ending = ".exe" if machine.system == "win32" else ""
    for path in (folder / f"{name}{ending}" for folder in machine.scripts):
        if path.is_file():
            return path
    raise BookError(
        f"{name}{ending}: is not in {_listed(machine.scripts)}, where this installation keeps its"
        " programs. Install Siltbook again, then repeat this command."
    )


def _listed(folders: Iterable[Path]) -> str:
    return " or ".join(dict.fromkeys(map(str, folders)))


def run(words: Sequence[str], more: Mapping[str, str]) -> str:
    """Run a tool of the system and give what it printed; BookError, one sentence, if it fails."""
    tool = Path(words[0]).name
    try:
        done = subprocess.run(
            list(words), env={**os.environ, **more}, stdin=subprocess.DEVNULL, capture_output=True,
            timeout=TIMEOUT, check=False,
        )  # fmt: skip
    except OSError as error:
        raise BookError(
            f"{words[0]}: could not be started ({why(error)}). It belongs to the system; check its"
            " installation."
        ) from error
    except subprocess.TimeoutExpired:
        raise BookError(f"{tool} did not end within {TIMEOUT:g} seconds. Try again.") from None
    out, told = (text.decode("utf-8", "replace") for text in (done.stdout, done.stderr))
    if done.returncode:
        last = " ".join((told or out).split())[-300:] or f"code {done.returncode}"
        raise BookError(f"{tool} refused: {last}")
    return out
