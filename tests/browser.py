"""A page in headless Chromium, driven through its DevTools pipe. For the tests only."""

import base64
import fcntl
import json
import os
import select
import shutil
import subprocess
import sys
import time

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
#: Headless, and silent on the network.
QUIET = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--hide-scrollbars",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
FLAGS = [*QUIET, "--remote-debugging-pipe"]
PATIENCE_S = 30
#: Chromium reads commands on 3 and answers on 4.
_RUN = """
import os, sys
os.dup2(int(sys.argv[1]), 3)
os.dup2(int(sys.argv[2]), 4)
os.execv(sys.argv[3], sys.argv[3:])
"""


class Browser:
    """One Chromium with one page. ``complaints`` collects errors and blocked loads."""

    def __init__(self, profile, width=1200, height=900):
        mine = os.pipe(), os.pipe()
        # Keep them away from 3 and 4, where they go in the browser.
        theirs = [fcntl.fcntl(end, fcntl.F_DUPFD, 20) for end in (mine[0][0], mine[1][1])]
        command = [CHROMIUM, *FLAGS, f"--user-data-dir={profile}", "about:blank"]
        self.process = subprocess.Popen(
            [sys.executable, "-c", _RUN, *map(str, theirs), *command],
            pass_fds=theirs,
            env={**os.environ, "XDG_CONFIG_HOME": str(profile)},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        for end in (*theirs, mine[0][0], mine[1][1]):
            os.close(end)
        self.write_end, self.read_end = mine[0][1], mine[1][0]
        self.number = 0
        self.session = None
        self.buffer = b""
        self.complaints = []
        self.events = []
        target = next(
            one["targetId"]
            for one in self("Target.getTargets")["targetInfos"]
            if one["type"] == "page"
        )
        attached = self("Target.attachToTarget", targetId=target, flatten=True)
        self.session = attached["sessionId"]
        for domain in ("Page", "Runtime", "Log"):
            self(f"{domain}.enable")
        self(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=False,
        )

    def __call__(self, method, **params):
        """Send one command and return its result."""
        self.number += 1
        message = {"id": self.number, "method": method, "params": params}
        if self.session:
            message["sessionId"] = self.session
        os.write(self.write_end, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == self.number:
                assert "error" not in answer, answer["error"]
                return answer["result"]

    def _next(self):
        end = time.monotonic() + PATIENCE_S
        while b"\0" not in self.buffer:
            ready, _, _ = select.select([self.read_end], [], [], max(0, end - time.monotonic()))
            assert ready, "Chromium does not answer"
            more = os.read(self.read_end, 1 << 20)
            assert more, "Chromium is gone"
            self.buffer += more
        text, _, self.buffer = self.buffer.partition(b"\0")
        message = json.loads(text)
        method, params = message.get("method"), message.get("params", {})
        if method == "Runtime.exceptionThrown":
            self.complaints.append(params["exceptionDetails"]["text"])
        elif method == "Log.entryAdded" and params["entry"]["level"] in ("error", "warning"):
            self.complaints.append(params["entry"]["text"])
        elif method == "Runtime.consoleAPICalled" and params["type"] in ("error", "warning"):
            self.complaints.append(str(params["args"]))
        elif method:
            self.events.append(method)
        return message

    def open(self, page):
        """Load a file and wait for it."""
        self.complaints.clear()
        self.events.clear()
        self("Page.navigate", url=page.as_uri())
        while "Page.loadEventFired" not in self.events:
            self._next()
        self.run("0")

    def run(self, script):
        """Return the value of an expression, after the page has drawn what it changed."""
        result = self("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in result, result["exceptionDetails"]
        self(
            "Runtime.evaluate",
            expression="new Promise((go) => requestAnimationFrame(() => setTimeout(go, 0)))",
            awaitPromise=True,
        )
        return result["result"].get("value")

    def key(self, key, text=None):
        """Press and release a key, as a person would."""
        for kind in ("keyDown", "keyUp"):
            more = {"text": text} if text and kind == "keyDown" else {}
            self("Input.dispatchKeyEvent", type=kind, key=key, **more)
        self.run("0")

    def dark(self, on):
        """Ask for dark or light colours."""
        value = "dark" if on else "light"
        self(
            "Emulation.setEmulatedMedia",
            features=[{"name": "prefers-color-scheme", "value": value}],
        )

    def picture(self, path):
        """Save a screenshot."""
        data = self("Page.captureScreenshot")["data"]
        path.write_bytes(base64.b64decode(data))

    def pdf(self, path):
        """Print to a file, with the page's own size and margins."""
        data = self("Page.printToPDF", printBackground=True, preferCSSPageSize=True)["data"]
        path.write_bytes(base64.b64decode(data))

    def close(self):
        """End this Chromium, and only this one."""
        try:
            self.session = None
            self("Browser.close")
            self.process.wait(timeout=10)
        except (AssertionError, OSError, subprocess.TimeoutExpired):
            self.process.kill()
            self.process.wait()
        finally:
            os.close(self.write_end)
            os.close(self.read_end)


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    """One Chromium for the tests of a module; they are skipped where there is none."""
    if CHROMIUM is None:
        pytest.skip("Chromium is not installed")
    one = Browser(tmp_path_factory.mktemp("profile"))
    yield one
    one.close()
