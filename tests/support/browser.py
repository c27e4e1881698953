# SPDX-License-Identifier: MIT
"""A headless Chromium, spoken to by its devtools protocol over a loopback socket: just enough to load a page and hear what
went wrong. No driver, no library: a WebSocket (RFC 6455) of short text frames."""
import base64
import json
import os
import pathlib
import shutil
import socket
import struct
import subprocess
import tempfile
import time
import urllib.request

START_LIMIT = 60  # seconds
COMPLAINTS = ("Runtime.exceptionThrown", "Log.entryAdded", "Runtime.consoleAPICalled", "Network.loadingFailed")


def find():
    """Path of a Chromium, or None."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


class Browser:
    def __init__(self):
        self.folder = tempfile.mkdtemp(prefix="browser-")
        # --no-sandbox: tests run as root in a container; only pages that we made ourselves are loaded.
        self.process = subprocess.Popen(
            [find(), "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--disable-dev-shm-usage",
             "--remote-debugging-port=0", f"--user-data-dir={self.folder}", "about:blank"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        self.next_id, self.events = 0, []
        try:
            self.socket = self._connect()
        except BaseException:
            self.end()
            raise
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.socket.close()
        self.end()

    def end(self):
        self.process.terminate()
        try:
            self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        shutil.rmtree(self.folder, ignore_errors=True)

    def load(self, path, width, dark=False, media="", touch=False):
        """Load a file, or an address; returns what the browser complained about while it did."""
        self.events.clear()
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=800, deviceScaleFactor=1, mobile=width < 600)
        self.call("Emulation.setEmulatedMedia", media=media,
                  features=[{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}])
        self.call("Emulation.setTouchEmulationEnabled", enabled=touch)
        address = str(path) if str(path).startswith("http:") else pathlib.Path(path).resolve().as_uri()
        answer = self.call("Page.navigate", url=address)
        if "errorText" in answer:
            return [answer["errorText"]]
        self._wait("Page.loadEventFired")
        self.ask("document.readyState")  # whatever was said before this answer has been heard by now
        return [json.dumps(event["params"])[:400] for event in self.events if event.get("method") in COMPLAINTS]

    def picture(self, file, whole=True):
        """Of what is shown now, as PNG."""
        answer = self.call("Page.captureScreenshot", format="png", captureBeyondViewport=whole)
        pathlib.Path(file).write_bytes(base64.b64decode(answer["data"]))

    def press(self, key):
        for kind in ("keyDown", "keyUp"):
            self.call("Input.dispatchKeyEvent", type=kind, key=key, text=key if kind == "keyDown" and len(key) == 1 else "")

    def ask(self, expression):
        """The value of a script that is run beside the page, not in it."""
        answer = self.call("Runtime.evaluate", expression=expression, returnByValue=True)
        assert "exceptionDetails" not in answer, answer
        return answer["result"].get("value")

    def call(self, method, **parameters):
        self.next_id += 1
        self._send(json.dumps({"id": self.next_id, "method": method, "params": parameters}).encode())
        while True:
            message = self._receive()
            if message.get("id") == self.next_id:
                assert "error" not in message, message
                return message["result"]
            self.events.append(message)

    def _wait(self, name):
        while not any(event.get("method") == name for event in self.events):
            self.events.append(self._receive())

    def _connect(self):
        announced = pathlib.Path(self.folder, "DevToolsActivePort")
        end = time.monotonic() + START_LIMIT
        while not (announced.exists() and announced.read_text().strip()):
            assert self.process.poll() is None and time.monotonic() < end, "the browser did not start"
            time.sleep(0.02)
        port = int(announced.read_text().split()[0])
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/json") as answer:
            page = next(target for target in json.load(answer) if target["type"] == "page")
        path = page["webSocketDebuggerUrl"].split(str(port), 1)[1]
        connection = socket.create_connection(("127.0.0.1", port), START_LIMIT)
        key = base64.b64encode(os.urandom(16)).decode()
        connection.sendall(f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
                           f"Sec-WebSocket-Key: {key}\r\nSec-WebSocket-Version: 13\r\n\r\n".encode())
        head = b""
        while not head.endswith(b"\r\n\r\n"):
            head += connection.recv(1)
        return connection

    def _send(self, data):
        mask, n = os.urandom(4), len(data)
        head = bytes([0x81]) + (bytes([0x80 | n]) if n < 126 else bytes([0xFE]) + struct.pack(">H", n))
        self.socket.sendall(head + mask + bytes(byte ^ mask[i % 4] for i, byte in enumerate(data)))

    def _receive(self):
        data = b""
        while True:
            first, second = self._exactly(2)
            n = second & 0x7F
            if n >= 126:
                n = int.from_bytes(self._exactly(2 if n == 126 else 8), "big")
            data += self._exactly(n)
            if first & 0x80:
                return json.loads(data)

    def _exactly(self, n):
        data = b""
        while len(data) < n:
            piece = self.socket.recv(n - len(data))
            assert piece, "the browser hung up"
            data += piece
        return data
