"""Drives Chromium over its debugging pipe: no port, no library, nothing but Python.

    with Browser() as browser:
        page = browser.open("file:///.../report.html", width=1280, height=900)
        page.value("document.title")
"""

import base64
import json
import os
import select
import shutil
import subprocess
import tempfile
import time

FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync", "--hide-scrollbars",
    "--remote-debugging-pipe",
]


class Browser:
    """A browser with a profile of its own, gone with all it started when the block is left."""

    def __enter__(self):
        program = shutil.which("chromium")
        if program is None:
            raise RuntimeError("chromium is not installed. Run rig/install tests")
        self._profile = tempfile.mkdtemp(prefix="proofstand-page-")
        to_browser, self._to = os.pipe()
        self._from, from_browser = os.pipe()
        # The browser reads commands on descriptor 3 and answers on 4.
        high_in, high_out = os.dup(to_browser), os.dup(from_browser)
        while high_in < 5:
            high_in = os.dup(high_in)
        while high_out < 5:
            high_out = os.dup(high_out)

        def wire():
            os.dup2(high_in, 3)
            os.dup2(high_out, 4)

        self._child = subprocess.Popen([program, *FLAGS, f"--user-data-dir={self._profile}", "about:blank"],
                                       stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                                       close_fds=False, preexec_fn=wire)
        for end in (to_browser, from_browser, high_in, high_out):
            os.close(end)
        self._buffer, self._number, self.events = b"", 0, []
        return self

    def __exit__(self, *_):
        try:
            self.call("Browser.close", limit=5)
        except (RuntimeError, OSError):
            pass
        try:
            self._child.wait(timeout=5)
        except subprocess.TimeoutExpired:
            self._child.kill()
            self._child.wait()
        os.close(self._to)
        os.close(self._from)
        shutil.rmtree(self._profile, ignore_errors=True)

    def _message(self, deadline):
        while b"\0" not in self._buffer:
            left = deadline - time.monotonic()
            if left <= 0 or not select.select([self._from], [], [], left)[0]:
                raise RuntimeError("the browser did not answer in time")
            got = os.read(self._from, 1 << 20)
            if not got:
                raise RuntimeError("the browser has gone")
            self._buffer += got
        text, self._buffer = self._buffer.split(b"\0", 1)
        return json.loads(text)

    def call(self, method, session=None, limit=30, **parameters):
        self._number += 1
        message = {"id": self._number, "method": method, "params": parameters}
        if session:
            message["sessionId"] = session
        data = json.dumps(message).encode() + b"\0"
        while data:
            data = data[os.write(self._to, data):]
        deadline = time.monotonic() + limit
        while True:
            answer = self._message(deadline)
            if answer.get("id") != self._number:
                self.events.append(answer)
                continue
            if "error" in answer:
                raise RuntimeError(f"{method}: {answer['error']['message']}")
            return answer["result"]

    def open(self, address, width=1280, height=900, media=""):
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        page = Page(self, session)
        for domain in ("Page", "Runtime", "Network", "Log"):
            page.call(domain + ".enable")
        page.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)
        if media:
            page.call("Emulation.setEmulatedMedia", media=media)
        page.go(address)
        return page


class Page:
    def __init__(self, browser, session):
        self._browser, self._session = browser, session

    def call(self, method, **parameters):
        return self._browser.call(method, session=self._session, **parameters)

    def go(self, address):
        self.call("Page.navigate", url=address)
        deadline = time.monotonic() + 30
        while self.value("document.readyState") != "complete" or self.value("location.href") == "about:blank":
            if time.monotonic() > deadline:
                raise RuntimeError(f"{address} did not load")
            time.sleep(0.02)

    def value(self, expression):
        result = self.call("Runtime.evaluate", expression=expression, returnByValue=True)
        if "exceptionDetails" in result:
            raise RuntimeError(f"{expression}: {result['exceptionDetails']}")
        return result["result"].get("value")

    def events(self, *methods):
        """What the page reported by itself so far."""
        self.value("0")
        return [e for e in self._browser.events if e.get("sessionId") == self._session and e.get("method") in methods]

    def picture(self, path, clip=None):
        """A PNG of what is in view, or of `clip` (x, y, width, height) of the whole page."""
        more = {}
        if clip:
            more = {"captureBeyondViewport": True, "clip": dict(zip(("x", "y", "width", "height"), clip), scale=1)}
        shot = self.call("Page.captureScreenshot", format="png", **more)
        with open(path, "wb") as out:
            out.write(base64.b64decode(shot["data"]))

    def print_to(self, path, background=False):
        paper = self.call("Page.printToPDF", preferCSSPageSize=True, printBackground=background)
        with open(path, "wb") as out:
            out.write(base64.b64decode(paper["data"]))
