"""Drive a headless Chromium through chromedriver: W3C WebDriver over HTTP, standard library alone."""

from __future__ import annotations

import base64
import contextlib
import http.client
import json
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Self

AXE = Path(__file__).with_name("axe.min.js")

#: Rule sets of WCAG 2.0, 2.1 and 2.2 at levels A and AA, by axe-core's own tag names, and its best practices.
WCAG_2_2_AA = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")


def chromium_missing() -> bool:
    """Whether the browser tests must be skipped on this machine."""
    return not (shutil.which("chromium") and shutil.which("chromedriver"))


def _free_port() -> int:
    with contextlib.closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Browser:
    """One headless Chromium window. Use it as a context manager.

    ``width`` and ``height`` are CSS pixels; ``scheme`` is the colour scheme a page sees.
    """

    def __init__(self, width: int = 1280, height: int = 900, scheme: str = "light") -> None:
        self._port = _free_port()
        self._driver = subprocess.Popen(
            ["chromedriver", f"--port={self._port}", "--log-level=OFF"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        self._session = ""
        try:
            self._session = self._start()
            self.resize(width, height)
            self.colours(scheme)
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the browser and its driver."""
        if self._session:
            with contextlib.suppress(OSError, RuntimeError):
                self._call("DELETE", "")
            self._session = ""
        self._driver.terminate()
        self._driver.wait(timeout=10)

    def _start(self) -> str:
        wanted = {
            "browserName": "chrome",
            "goog:loggingPrefs": {"browser": "ALL", "performance": "ALL"},
            "goog:chromeOptions": {
                "binary": shutil.which("chromium"),
                "args": [
                    "--headless=new",
                    "--no-sandbox",
                    "--disable-gpu",
                    "--disable-dev-shm-usage",
                    "--hide-scrollbars",
                    "--disable-background-networking",
                    "--disable-component-update",
                    "--no-first-run",
                ],
            },
        }
        for _ in range(100):
            with contextlib.suppress(OSError):
                answer = self._http("POST", "/session", {"capabilities": {"alwaysMatch": wanted}})
                return str(answer["sessionId"])
            time.sleep(0.05)
        raise RuntimeError("chromedriver does not answer")

    def _http(self, method: str, path: str, body: Mapping[str, object] | None = None) -> Any:
        line = http.client.HTTPConnection("127.0.0.1", self._port, timeout=60)
        try:
            line.request(method, path, None if body is None else json.dumps(body))
            value = json.loads(line.getresponse().read())["value"]
        finally:
            line.close()
        if isinstance(value, dict) and "error" in value:
            raise RuntimeError(f"{value['error']}: {value['message'].splitlines()[0]}")
        return value

    def _call(self, method: str, path: str, body: Mapping[str, object] | None = None) -> Any:
        return self._http(method, f"/session/{self._session}{path}", body)

    def cdp(self, command: str, **parameters: object) -> Any:
        """Send one command of the Chrome DevTools Protocol."""
        return self._call("POST", "/goog/cdp/execute", {"cmd": command, "params": parameters})

    def resize(self, width: int, height: int) -> None:
        """Set the page's viewport, in CSS pixels."""
        self.cdp(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=False,
        )

    def colours(self, scheme: str) -> None:
        """Let pages see the colour scheme ``light`` or ``dark``."""
        self.cdp("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": scheme}])

    def open(self, page: Path | str) -> None:
        """Load a file or an address, and wait until it is loaded."""
        self._call("POST", "/url", {"url": page.resolve().as_uri() if isinstance(page, Path) else page})

    def run(self, script: str, *arguments: object) -> Any:
        """The value that the body of a JavaScript function returns; a promise is awaited."""
        return self._call("POST", "/execute/sync", {"script": script, "args": list(arguments)})

    def wait_for(self, condition: str, seconds: float = 10) -> None:
        """Wait until a JavaScript expression is true; raises ``TimeoutError`` otherwise."""
        end = time.monotonic() + seconds
        while not self.run(f"return Boolean({condition})"):
            if time.monotonic() > end:
                raise TimeoutError(condition)
            time.sleep(0.02)

    def press(self, *keys: str) -> None:
        """Press keys one after the other; ``\\ue004`` is Tab, ``\\ue007`` Enter (W3C WebDriver)."""
        presses = [{"type": what, "value": key} for key in keys for what in ("keyDown", "keyUp")]
        self._call("POST", "/actions", {"actions": [{"type": "key", "id": "keys", "actions": presses}]})

    def screenshot(self, file: Path, *, whole: bool = False) -> None:
        """Save what is seen (or the whole page) as PNG."""
        picture = self.cdp("Page.captureScreenshot", format="png", captureBeyondViewport=whole)
        file.write_bytes(base64.b64decode(picture["data"]))

    def complaints(self) -> list[str]:
        """What the page wrote to the console since the last call, with level warning or worse."""
        entries = self._call("POST", "/se/log", {"type": "browser"})
        return [entry["message"] for entry in entries if entry["level"] in {"WARNING", "SEVERE"}]

    def requests(self) -> Iterator[str]:
        """Addresses that were asked for since the last call."""
        for entry in self._call("POST", "/se/log", {"type": "performance"}):
            message = json.loads(entry["message"])["message"]
            if message["method"] == "Network.requestWillBeSent":
                yield str(message["params"]["request"]["url"])

    def axe(self) -> list[str]:
        """Violations of WCAG 2.2 level AA and of axe-core's best practices, one line per element."""
        self.run(AXE.read_text("utf-8") + "\n;")
        result = self.run(
            "return axe.run(document, {runOnly: {type: 'tag', values: arguments[0]},"
            " resultTypes: ['violations'], preload: false})",
            WCAG_2_2_AA,
        )
        return [
            f"{rule['id']}: {rule['help']}: {node['html'][:160]}"
            for rule in result["violations"]
            for node in rule["nodes"]
        ]
