"""A browser without a window, driven over the open WebDriver protocol with nothing but the standard library."""

import contextlib
import json
import shutil
import socket
import subprocess
import time
import urllib.request
from pathlib import Path

from needs import need_programs

FLAGS = [
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--autoplay-policy=no-user-gesture-required",
    "--window-size=900,1000",
]
ELEMENT = "element-6066-11e4-a52e-4f735466cecf"


class Browser:
    def __init__(self, downloads: Path):
        need_programs("chromium", "chromedriver", why="Debian packages chromium and chromium-driver")
        with contextlib.closing(socket.socket()) as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        self.driver = subprocess.Popen(
            ["chromedriver", f"--port={port}"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        self.root = f"http://127.0.0.1:{port}"
        self.session = ""
        options = {
            "binary": shutil.which("chromium"),
            "args": FLAGS,
            "prefs": {"download.default_directory": str(downloads), "download.prompt_for_download": False},
        }
        body = {
            "capabilities": {
                "alwaysMatch": {"goog:chromeOptions": options, "unhandledPromptBehavior": "accept"}
            }
        }
        for _ in range(100):
            try:
                self.session = "/session/" + self.ask("POST", "/session", body)["sessionId"]
                return
            except OSError:
                time.sleep(0.1)
        self.driver.terminate()
        raise RuntimeError("the browser did not start")

    def ask(self, method, path, body=None):
        data = json.dumps(body or {}).encode() if method == "POST" else None
        request = urllib.request.Request(self.root + path, data=data, method=method)
        request.add_header("Content-Type", "application/json")
        opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
        with opener.open(request, timeout=60) as answer:
            return json.load(answer)["value"]

    def open(self, path: Path):
        self.ask("POST", self.session + "/url", {"url": path.as_uri()})

    def run(self, script):
        return self.ask("POST", self.session + "/execute/sync", {"script": script, "args": []})

    def give_files(self, css, paths):
        found = self.ask("POST", self.session + "/element", {"using": "css selector", "value": css})[ELEMENT]
        text = "\n".join(str(path) for path in paths)
        self.ask("POST", f"{self.session}/element/{found}/value", {"text": text})

    def press(self, key):
        actions = [{"type": kind, "value": key} for kind in ("keyDown", "keyUp")]
        self.ask(
            "POST",
            self.session + "/actions",
            {"actions": [{"type": "key", "id": "keys", "actions": actions}]},
        )

    def wait(self, script, seconds=20):
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if self.run(script):
                return
            time.sleep(0.05)
        raise AssertionError(f"never became true: {script}")

    def picture(self):
        return self.ask("GET", self.session + "/screenshot")

    def close(self):
        with contextlib.suppress(OSError):
            self.ask("DELETE", self.session)
        self.driver.terminate()
        self.driver.wait(10)
