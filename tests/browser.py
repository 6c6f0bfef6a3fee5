"""A real browser without a window, for the pages this program makes: open, look, ask, photograph.

It is driven over a pair of pipes with the browser's own protocol (one JSON object, then a zero byte), so that no
package and no port is needed. ``CHROMIUM`` is None where there is no browser; tests then skip and say so.
"""

import base64
import json
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
MISSING = "chromium is not installed: the page was not tried in a browser"
PHONE = (390, 844)


class Browser:
    """One page at ``size`` (CSS pixels). A context manager."""

    def __init__(self, profile: Path, size=PHONE, scale: float = 2.0) -> None:
        read_theirs, self._write = os.pipe()
        self._read, write_theirs = os.pipe()
        flags = ["--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run", "--remote-debugging-pipe"]
        # The browser reads descriptor 3 and writes 4, wherever the pipes' ends happen to be.
        moved = f"import os, sys; os.dup2({read_theirs}, 103); os.dup2({write_theirs}, 104); os.dup2(103, 3); "
        moved += "os.dup2(104, 4); os.execv(sys.argv[1], sys.argv[1:])"
        self._process = subprocess.Popen(
            [sys.executable, "-c", moved, str(CHROMIUM), *flags, f"--user-data-dir={profile}"],
            pass_fds=(read_theirs, write_theirs),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(read_theirs)
        os.close(write_theirs)
        self._number, self._waiting, self._session = 0, b"", None
        target = self._ask("Target.createTarget", url="about:blank")["targetId"]
        self._session = self._ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        self._ask("Page.enable")
        metrics = {"width": size[0], "height": size[1], "deviceScaleFactor": scale, "mobile": True}
        self._ask("Emulation.setDeviceMetricsOverride", **metrics)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def close(self):
        os.close(self._write)
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(10)
        os.close(self._read)

    def open(self, url: str) -> None:
        self._ask("Page.navigate", url=url)

    def value(self, expression: str):
        """What a line of the page's own language gives."""
        return self._ask("Runtime.evaluate", expression=expression, returnByValue=True)["result"].get("value")

    def text(self) -> str:
        return str(self.value("document.body ? document.body.innerText : ''"))

    def wait_for(self, expression: str, seconds: float = 90.0) -> bool:
        """Whether the expression became true in time."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if self.value(expression):
                return True
            time.sleep(0.05)
        return False

    def photograph(self, path: Path) -> None:
        path.write_bytes(base64.b64decode(self._ask("Page.captureScreenshot", format="png")["data"]))

    def _ask(self, method: str, **parameters):
        self._number += 1
        message = {"id": self._number, "method": method, "params": parameters}
        if self._session is not None:
            message["sessionId"] = self._session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        while True:
            answer = json.loads(self._next())
            if answer.get("id") == self._number:
                assert "error" not in answer, answer["error"]
                return answer["result"]

    def _next(self) -> bytes:
        while b"\0" not in self._waiting:
            data = os.read(self._read, 1 << 16)
            assert data, "the browser has gone"
            self._waiting += data
        message, _, self._waiting = self._waiting.partition(b"\0")
        return message
