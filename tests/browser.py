"""Chromium for tests, spoken to over a pipe (its DevTools protocol), without any client package."""

from __future__ import annotations

import base64
import fcntl
import json
import os
import select
import shutil
import signal
import subprocess
import tempfile
import time
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
OPTIONS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--hide-scrollbars",
    "--remote-debugging-pipe",
)
PATIENCE_S = 60.0
PAPER_IN = {"A4": (8.27, 11.69), "Letter": (8.5, 11.0)}


def found() -> str | None:
    """Return where Chromium is, if it is installed."""
    named = os.environ.get("DEWMARGIN_CHROMIUM")
    return named or next((path for name in NAMES if (path := shutil.which(name))), None)


class Page:
    """A page in a browser, and all that it asked for and complained of."""

    def __init__(self, to: int, of: int, profile: str) -> None:
        self._to, self._of, self._rest, self._last = to, of, b"", 0
        self.profile = profile
        self._session: str | None = None
        self.requests: list[str] = []
        self.complaints: list[str] = []
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.ask("Target.attachToTarget", targetId=target, flatten=True)[
            "sessionId"
        ]
        for domain in ("Page", "Network", "Runtime", "Log"):
            self.ask(f"{domain}.enable")

    def ask(self, method: str, **parameters: object) -> dict[str, Any]:
        """Send a command; return its answer."""
        self._last += 1
        message: dict[str, Any] = {"id": self._last, "method": method, "params": parameters}
        if self._session is not None:
            message["sessionId"] = self._session
        data = json.dumps(message).encode() + b"\0"
        while data:
            data = data[os.write(self._to, data) :]
        while True:
            answer = self._next()
            if answer.get("id") == self._last:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']}")
                return answer["result"]  # type: ignore[no-any-return]

    def open(self, file: Path, *, width: int, dark: bool = False) -> None:
        """Open a file in a window of so many pixels; scripts of our own may run in it."""
        self.requests.clear()
        self.complaints.clear()
        self.ask("Page.setBypassCSP", enabled=False)
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=900,
            deviceScaleFactor=1,
            mobile=False,
        )
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.ask("Emulation.setEmulatedMedia", features=[scheme])
        self.ask("Page.navigate", url=file.resolve().as_uri())
        self.run("new Promise(done => document.readyState == 'complete' ? done() : onload = done)")

    def run(self, script: str) -> Any:  # noqa: ANN401 - whatever it returns
        """Return what a script returns; a promise is waited for."""
        answer = self.ask(
            "Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True
        )
        if "exceptionDetails" in answer:
            raise RuntimeError(str(answer["exceptionDetails"]))
        return answer["result"].get("value")

    def picture(self, *, whole: bool = True) -> bytes:
        """Return a PNG of the page, or of its first screen."""
        more: dict[str, object] = {}
        if whole:
            size = self.ask("Page.getLayoutMetrics")["cssContentSize"]
            place = {"x": 0, "y": 0, "width": size["width"], "height": size["height"], "scale": 1}
            more = {"captureBeyondViewport": True, "clip": place}
        answer = self.ask("Page.captureScreenshot", format="png", **more)
        return base64.b64decode(answer["data"])

    def printed(self, paper: Literal["A4", "Letter"]) -> bytes:
        """Return the page as PDF."""
        width, height = PAPER_IN[paper]
        answer = self.ask(
            "Page.printToPDF", paperWidth=width, paperHeight=height, preferCSSPageSize=False,
            printBackground=True,
        )  # fmt: skip
        return base64.b64decode(answer["data"])

    def _next(self) -> dict[str, Any]:
        end = time.monotonic() + PATIENCE_S
        while b"\0" not in self._rest:
            ready, _, _ = select.select([self._of], [], [], max(end - time.monotonic(), 0.0))
            more = os.read(self._of, 1 << 20) if ready else b""
            if not more:
                raise RuntimeError("the browser does not answer")
            self._rest += more
        message, _, self._rest = self._rest.partition(b"\0")
        event: dict[str, Any] = json.loads(message)
        self._note(event.get("method"), event.get("params", {}))
        return event

    def _note(self, method: str | None, told: dict[str, Any]) -> None:
        if method == "Network.requestWillBeSent":
            self.requests.append(told["request"]["url"])
        elif method == "Log.entryAdded":
            self.complaints.append(told["entry"]["text"])
        elif method == "Runtime.exceptionThrown":
            self.complaints.append(str(told["exceptionDetails"]))
        elif method == "Runtime.consoleAPICalled" and told["type"] in ("error", "warning"):
            self.complaints.append(str(told["args"]))


@contextmanager
def chromium() -> Iterator[Page]:
    """Start a browser with an empty profile, and end it."""
    program = found()
    if program is None:
        raise RuntimeError("no Chromium is installed")
    reads, to = os.pipe()
    of, writes = os.pipe()
    # Chromium reads from 3 and writes to 4: our ends must not lie there.
    ends = [fcntl.fcntl(end, fcntl.F_DUPFD, 10) for end in (reads, writes)]

    def place() -> None:
        os.dup2(ends[0], 3)
        os.dup2(ends[1], 4)

    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        process = subprocess.Popen(
            [program, *OPTIONS, f"--user-data-dir={profile}"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            preexec_fn=place,  # noqa: PLW1509 - no threads are started here
            pass_fds=(3, 4),
            start_new_session=True,
        )
        for end in (reads, writes, *ends):
            os.close(end)
        try:
            yield Page(to, of, profile)
        finally:
            os.killpg(process.pid, signal.SIGKILL)  # its own group: nothing else is ended
            process.wait()
            os.close(to)
            os.close(of)
