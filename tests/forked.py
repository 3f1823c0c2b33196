"""A process that another one forked for this one: what `subprocess.Popen` offers for its own."""

from __future__ import annotations

import contextlib
import os
import select
import signal
import subprocess
import threading
from typing import IO, Any


class Forked:
    """As much of `subprocess.Popen` as tests and the guard ask for.

    Through `said` the process says its number, and the one that forked it how it ended.
    """

    def __init__(self, args: list[str], said: int, pipes: dict[str, IO[Any]]) -> None:
        self.args, self._said = args, said
        self.stdin, self.stdout, self.stderr = map(pipes.get, ("stdin", "stdout", "stderr"))
        self.returncode: int | None = None
        self.pid = self._number()

    def _number(self) -> int:
        """Four bytes; OSError where nobody is there any more to send them."""
        told = os.read(self._said, 4)
        if len(told) < 4:
            raise ChildProcessError("the process that forks is gone")
        return int.from_bytes(told, "big")

    def poll(self) -> int | None:
        """How it ended; None where it has not."""
        with contextlib.suppress(subprocess.TimeoutExpired):
            return self.wait(0)
        return None

    def wait(self, timeout: float | None = None) -> int:
        """How it ended; TimeoutExpired [s]."""
        if self.returncode is None:
            if not select.select([self._said], [], [], timeout)[0]:
                raise subprocess.TimeoutExpired(self.args, timeout or 0.0)
            self.returncode = os.waitstatus_to_exitcode(self._number())
            os.close(self._said)
        return self.returncode

    def send_signal(self, number: int) -> None:
        """Send it, unless the process has ended."""
        if self.poll() is None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.pid, number)

    def kill(self) -> None:
        self.send_signal(signal.SIGKILL)

    def terminate(self) -> None:
        self.send_signal(signal.SIGTERM)

    def communicate(self, timeout: float | None = None) -> tuple[Any, Any]:
        """All that it says, once it has ended; TimeoutExpired [s]."""
        streams = {s: [] for s in (self.stdout, self.stderr) if s is not None}
        readers = [
            threading.Thread(target=lambda s=stream, to=told: to.append(s.read()), daemon=True)
            for stream, told in streams.items()
        ]
        for reader in readers:
            reader.start()
        for reader in readers:
            reader.join(timeout)
            if reader.is_alive():
                raise subprocess.TimeoutExpired(self.args, timeout or 0.0)
        self.wait(timeout)
        for stream in streams:
            stream.close()
        out, err = (streams[s][0] if s is not None else None for s in (self.stdout, self.stderr))
        return out, err

    def __enter__(self) -> Forked:
        return self

    def __exit__(self, *_: object) -> None:
        for stream in (self.stdin, self.stdout, self.stderr):
            if stream is not None:
                stream.close()
        self.wait()
