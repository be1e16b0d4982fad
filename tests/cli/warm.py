"""The program in a process of its own that need not load it first: a child of one that has.

Such a child has its own descriptors, folder, environment, permissions, limits and signals, runs the same `main`, and
ends as Python ends. It shows whatever happens from the first line of `main` on, at a tenth of the time. It cannot show
what happens before, while Python starts and the program is loaded: closed streams, the encoding that the environment
names, a folder that is gone or a signal at that moment need a real start: `start` in
`tests/hostile/test_lost_nothing.py`, or `run_process` in `tests/cli/program.py`.
"""

from __future__ import annotations

import atexit
import os
import pickle
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from tempfile import TemporaryFile
from typing import IO, NamedTuple

from tests.cli.program import PLAIN, ROOT, Ended

LONGEST_S = 120
"""Far more than any run takes: one that hangs is ended."""


class Request(NamedTuple):
    """What a child is to run. `before` is found by its name: a function of a module, or a partial of one."""

    arguments: tuple[str, ...]
    folder: Path
    environment: dict[str, str]
    before: Callable[[], object] | None


class WarmRun:
    """A run that was begun: what it prints goes into files of its own, unless it was given a descriptor."""

    def __init__(self, request: Request, stdin: int | None, stdout: int | None) -> None:
        self._files = [TemporaryFile(), TemporaryFile()]  # noqa: SIM115 - closed where they are read
        with open(os.devnull, "rb") as nothing:
            out, error = (file.fileno() for file in self._files)
            descriptors = [nothing.fileno() if stdin is None else stdin, out if stdout is None else stdout, error]
            self.pid = _server().begin(request, descriptors)

    def send_signal(self, number: int) -> None:
        os.kill(self.pid, number)

    def ended(self) -> Ended:
        """Wait for its end."""
        status = _server().status_of(self.pid)
        out, error = (_content(file) for file in self._files)
        return Ended(out, error, status)


def start_warm(
    *arguments: object,
    environment: Mapping[str, str] = PLAIN,
    folder: Path = ROOT,
    before: Callable[[], object] | None = None,
    stdin: int | None = None,
    stdout: int | None = None,
) -> WarmRun:
    """Begin a run; `before` is called in the child, where its streams do not exist yet."""
    request = Request(tuple(map(str, arguments)), folder, {**os.environ, **environment}, before)
    return WarmRun(request, stdin, stdout)


class _Server:
    """The process that has loaded the program."""

    def __init__(self) -> None:
        self._ours, theirs = socket.socketpair()
        self._ours.settimeout(LONGEST_S)
        # In a session of its own: Ctrl-C while tests run is pytest's.
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.cli.warm_server", str(theirs.fileno())],
            cwd=ROOT, pass_fds=[theirs.fileno()], stdin=subprocess.DEVNULL, start_new_session=True,
        )  # fmt: skip
        theirs.close()
        atexit.register(self._end)

    def begin(self, request: Request, descriptors: list[int]) -> int:
        if sys.platform == "win32":
            raise OSError("forks, signals and permissions are POSIX")
        content = pickle.dumps(request)
        socket.send_fds(self._ours, [len(content).to_bytes(8)], descriptors)
        self._ours.sendall(content)
        return self._answer()

    def status_of(self, pid: int) -> int:
        if sys.platform == "win32":
            raise OSError("forks, signals and permissions are POSIX")
        socket.send_fds(self._ours, [bytes(8)], [])
        self._ours.sendall(pid.to_bytes(8))
        try:
            return os.waitstatus_to_exitcode(self._answer())
        except TimeoutError:
            os.kill(pid, signal.SIGKILL)
            self._answer()
            raise

    def _answer(self) -> int:
        answer = self._ours.recv(8, socket.MSG_WAITALL)
        assert len(answer) == 8, "the warm process has ended: its traceback is on standard error"
        return int.from_bytes(answer)

    def _end(self) -> None:
        self._ours.close()
        self._process.wait()


@cache
def _server() -> _Server:
    return _Server()


def _content(file: IO[bytes]) -> str:
    with file:
        file.seek(0)
        return file.read().decode("utf-8")
