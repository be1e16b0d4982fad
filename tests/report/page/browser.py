"""Chromium, driven over two pipes as its DevTools protocol has it: messages in JSON, each ended by a zero byte."""

from __future__ import annotations

import base64
import json
import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")

needs_chromium = pytest.mark.skipif(
    CHROMIUM is None or shutil.which("bash") is None, reason="Chromium is not on this machine"
)

_FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync", "--hide-scrollbars",
    "--disable-dev-shm-usage",
    "--remote-debugging-pipe",
)  # fmt: skip


class Page:
    """One tab."""

    def __init__(self, into: int, out: int) -> None:
        self._into, self._out = into, out
        self._rest = b""
        self._count = 0
        self._session: str | None = None
        self._shown: Path | None = None
        self._scripts = True
        self.events: list[dict[str, Any]] = []
        target = self.send("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.send("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Network", "Log"):
            self.send(f"{domain}.enable")

    def send(self, method: str, **parameters: Any) -> dict[str, Any]:
        """Ask for something, and wait for the answer."""
        self._count += 1
        message: dict[str, Any] = {"id": self._count, "method": method, "params": parameters}
        if self._session is not None:
            message["sessionId"] = self._session
        os.write(self._into, json.dumps(message).encode("utf-8") + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == self._count:
                assert "error" not in answer, (method, answer["error"])
                return dict(answer["result"])
            self.events.append(answer)

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self._rest:
            more = os.read(self._out, 1 << 20)
            assert more, "the browser is gone"
            self._rest += more
        message, _, self._rest = self._rest.partition(b"\0")
        return dict(json.loads(message))

    def open(self, path: Path) -> None:
        """Load a file, and wait until it stands there."""
        self._shown = path
        self.events.clear()
        self.send("Page.navigate", url=path.as_uri())
        while not any(event.get("method") == "Page.loadEventFired" for event in self.events):
            self.events.append(self._next())

    def show(self, path: Path) -> None:
        """The same, but not again where it stands already: for a test that leaves the file as it was loaded."""
        if self._shown != path:
            self.open(path)

    def forget(self) -> None:
        """What is shown is not as it was loaded."""
        self._shown = None

    def size(self, width: int, height: int = 800) -> None:
        """As a phone or a screen."""
        self.send(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=width < 600
        )

    def media(self, medium: str = "", **features: str) -> None:
        """Screen or print, dark or light."""
        wanted = [{"name": name.replace("_", "-"), "value": value} for name, value in features.items()]
        self.send("Emulation.setEmulatedMedia", media=medium, features=wanted)

    def scripts(self, *, on: bool) -> None:
        """Let the page run its script or not; what a test asks for is run all the same."""
        if on != self._scripts:
            self._shown, self._scripts = None, on
        self.send("Emulation.setScriptExecutionDisabled", value=not on)

    def get(self, expression: str) -> Any:
        """What some JavaScript comes to."""
        answer = self.send("Runtime.evaluate", expression=expression, returnByValue=True)
        assert "exceptionDetails" not in answer, answer
        return answer["result"].get("value")

    def picture(self, path: Path, *, whole: bool = True) -> None:
        """The page as a PNG, the whole of it or what stands on the screen."""
        shot = self.send("Page.captureScreenshot", captureBeyondViewport=whole)
        path.write_bytes(base64.b64decode(shot["data"]))

    def paper(self) -> bytes:
        """The page as it is printed, a PDF."""
        return base64.b64decode(self.send("Page.printToPDF", preferCSSPageSize=True, printBackground=False)["data"])

    def asked_for(self) -> list[str]:
        """What was fetched since the page was opened."""
        return [event["params"]["request"]["url"] for event in self.events
                if event.get("method") == "Network.requestWillBeSent"]  # fmt: skip

    def complaints(self) -> list[str]:
        """What the browser's console says: errors of scripts, and what the policy of the page forbade."""
        return [
            json.dumps(event["params"])
            for event in self.events
            if event.get("method") in ("Runtime.exceptionThrown", "Log.entryAdded", "Runtime.consoleAPICalled")
        ]


@contextmanager
def browser() -> Iterator[Page]:
    """A browser of its own, gone afterwards."""
    assert CHROMIUM is not None
    from_us, into = os.pipe()
    out, to_us = os.pipe()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        command = f'exec "$@" --user-data-dir="{profile}" 3<&{from_us} 4>&{to_us}'
        process = subprocess.Popen(
            ["bash", "-c", command, "bash", CHROMIUM, *_FLAGS],
            pass_fds=(from_us, to_us), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(from_us)
        os.close(to_us)
        try:
            yield Page(into, out)
        finally:
            process.terminate()
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
            os.close(into)
            os.close(out)


PHONE = 360
NASTY = '</title><img src=x onerror="document.title=1"><b>2.4 & "more"</b> \'; {{ 7*7 }} \u202etxt'


def sideways(page: Page) -> int:
    """By how much the page is wider than what it is shown on."""
    return int(page.get("document.scrollingElement.scrollWidth - document.documentElement.clientWidth"))


def luminance(colour: str) -> float:
    """Relative luminance of an opaque sRGB colour; WCAG 2.2, "relative luminance"."""
    parts = [int(part) / 255 for part in re.findall(r"\d+", colour)[:3]]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: float, other: float) -> float:
    low, high = sorted((one, other))
    return (high + 0.05) / (low + 0.05)


SHADES = """Array.from(document.querySelectorAll('.grid td')).map(cell => {
    const shade = getComputedStyle(cell).backgroundColor.match(/[\\d.]+/g).map(Number);
    const paper = getComputedStyle(document.body).backgroundColor.match(/[\\d.]+/g).map(Number);
    const part = shade.length > 3 ? shade[3] : 1;
    return [getComputedStyle(cell).color, [0, 1, 2].map(at => Math.round(shade[at] * part + paper[at] * (1 - part)))];
})"""
"""Of every cell: colour of the figure, and of its shade as it lies on the paper."""
