"""The DevTools protocol of Chromium over a pair of pipes: no driver, no port, no package besides the browser.

Chromium started with `--remote-debugging-pipe` reads commands from file descriptor 3 and answers on 4: JSON, each
message ended by a NUL. One thread does it all: whoever waits for an answer takes in what happens meanwhile.
Source: Chrome DevTools Protocol, domains Target, Page, Runtime, Log, Network, Emulation, Input.
"""

import json
import os
import select
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

PATIENCE = 60.0
"""Seconds within which an answer must come: generous, for a busy machine."""

OPTIONS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--no-default-browser-check",
    "--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-extensions",
    "--disable-dev-shm-usage", "--disable-default-apps", "--disable-domain-reliability", "--metrics-recording-only",
    "--hide-scrollbars", "--force-color-profile=srgb", "--lang=en-CA", "--remote-debugging-pipe",
)  # fmt: skip

Event = dict[str, Any]


class BrowserFault(Exception):
    """The browser did not answer, refused a command, or a script in the page threw."""


class Pipe:
    """A running browser and the two pipes to it. Events of a page go to whoever registered for its session."""

    def __init__(self, binary: str, home: Path) -> None:
        commands, self._out = os.pipe()
        self._in, answers = os.pipe()
        home.mkdir(parents=True, exist_ok=True)
        # The shell puts the two ends where the protocol wants them: a number must not be closed by the other's move.
        start = f'exec "$0" "$@" 3<&{commands} 4>&{answers}'
        self._process = subprocess.Popen(
            ["bash", "-c", start, binary, *OPTIONS, f"--user-data-dir={home / 'profile'}", "about:blank"],
            pass_fds=(commands, answers),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "HOME": str(home)},
        )
        os.close(commands)
        os.close(answers)
        self._last = 0
        self._unread = b""
        self._answers: dict[int, Event] = {}
        self._listeners: dict[str | None, Callable[[str, Event], None]] = {}

    def listen(self, session: str | None, heard: Callable[[str, Event], None]) -> None:
        """Have the events of a session (None: of the browser) told to `heard`, with their names."""
        self._listeners[session] = heard

    def call(self, method: str, session: str | None = None, **parameters: Any) -> Event:
        """Send a command and wait for its answer. Raises BrowserFault where it is refused or none comes."""
        self._last += 1
        number = self._last
        message: Event = {"id": number, "method": method, "params": parameters}
        if session is not None:
            message["sessionId"] = session
        data = json.dumps(message).encode() + b"\0"
        while data:
            data = data[os.write(self._out, data) :]
        self.wait(lambda: number in self._answers, method)
        answer = self._answers.pop(number)
        if "error" in answer:
            raise BrowserFault(f"{method}: {answer['error']}")
        return dict(answer["result"])

    def wait(self, until: Callable[[], bool], what: str, patience: float = PATIENCE) -> None:
        """Take in what happens until the condition holds. Raises BrowserFault where it does not in time."""
        end = time.monotonic() + patience
        while not until():
            left = end - time.monotonic()
            if left <= 0:
                raise BrowserFault(f"waited {patience:.0f} s in vain for {what}")
            ready, _, _ = select.select([self._in], [], [], min(left, 0.2))
            if ready:
                self._take_in(what)

    def linger(self, seconds: float) -> None:
        """Take in what happens for a while."""
        end = time.monotonic() + seconds
        while (left := end - time.monotonic()) > 0:
            ready, _, _ = select.select([self._in], [], [], left)
            if ready:
                self._take_in("more")

    def _take_in(self, what: str) -> None:
        data = os.read(self._in, 1 << 20)
        if not data:
            raise BrowserFault(f"the browser left (exit code {self._process.poll()}) while it was asked for {what}")
        *messages, self._unread = (self._unread + data).split(b"\0")
        for message in map(json.loads, messages):
            if "id" in message:
                self._answers[message["id"]] = message
            elif heard := self._listeners.get(message.get("sessionId")):
                heard(message["method"], message["params"])

    def close(self) -> None:
        """Have the browser leave; end it where it does not."""
        try:
            self.call("Browser.close")
        except (BrowserFault, OSError):
            self._process.terminate()
        for end in (self._in, self._out):
            os.close(end)
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
