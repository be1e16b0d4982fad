"""The process that `tests/cli/warm.py` starts: it has loaded the program, and forks itself for each run.

Run as ``python -m tests.cli.warm_server DESCRIPTOR`` with one end of a pair of sockets. It has one thread, as a process
must that forks.
"""

from __future__ import annotations

import gc
import io
import os
import pickle
import signal
import socket
import sys
import tempfile
from contextlib import redirect_stdout

from basemap.__main__ import main
from tests.cli.program import SAMPLES
from tests.cli.warm import Request


def load() -> None:
    """Run once what most tests run: all of its modules are then loaded, which no list of them would keep up with."""
    with tempfile.TemporaryDirectory() as folder, redirect_stdout(io.TextIOWrapper(io.BytesIO(), encoding="utf-8")):
        assert main(["adapt", str(SAMPLES / "orchard_pickup.toml"), "--out", folder]) == 0
    gc.collect()
    gc.freeze()  # else the first search for rubbish in each child would copy every page


def next_run(connection: socket.socket) -> Request:
    """Serve until a request comes; returns in a child, to which it has given what the request names."""
    if sys.platform == "win32":
        raise OSError("forks, signals and permissions are POSIX")
    while True:
        length, descriptors, _, _ = socket.recv_fds(connection, 8, 3, socket.MSG_WAITALL)
        if not length:
            sys.exit(0)
        size = int.from_bytes(length)
        if not size:
            child = int.from_bytes(connection.recv(8, socket.MSG_WAITALL))
            _, status = os.waitpid(child, 0)
            connection.sendall(status.to_bytes(8))
            continue
        request: Request = pickle.loads(connection.recv(size, socket.MSG_WAITALL))
        child = os.fork()
        if child == 0:
            connection.close()
            _become(request, descriptors)
            return request
        connection.sendall(child.to_bytes(8))
        for descriptor in descriptors:
            os.close(descriptor)


def _become(request: Request, descriptors: list[int]) -> None:
    """Streams, folder, environment and signals as a process has them that was started so."""
    for number, descriptor in enumerate(descriptors):
        os.dup2(descriptor, number)
        os.close(descriptor)
    os.chdir(request.folder)
    os.environ.clear()
    os.environ.update(request.environment)
    if request.before is not None:
        request.before()
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        stream = _stream(number, getattr(sys, name))
        setattr(sys, name, stream)
        setattr(sys, f"__{name}__", stream)


def _stream(number: int, like: io.TextIOWrapper) -> io.TextIOWrapper:
    """As Python opens it when it starts."""
    binary = open(number, "rb" if number == 0 else "wb", closefd=False)  # noqa: SIM115
    newline = None if number == 0 else "\n"
    return io.TextIOWrapper(binary, like.encoding, like.errors, newline, line_buffering=number == 2)


if __name__ == "__main__":
    with socket.socket(fileno=int(sys.argv[1])) as ours:
        load()
        signal.signal(signal.SIGINT, signal.default_int_handler)
        run = next_run(ours)
    sys.exit(main(run.arguments))
