"""A page in headless Chromium, as a person with a phone, a desk or a printer would see it.

    page = chromium.open(path, width=360, dark=True)
    page.type("#counted-1", "4")
    assert not page.console and not page.requests and not page.axe()
"""

import base64
import json
from pathlib import Path
from typing import Any

from devtools import BrowserFault, Event, Pipe

PHONE, DESK = 360, 1440
"""The two widths at which every page is looked at, in CSS pixels."""

WCAG = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa")
"""The rules of axe-core that stand for WCAG 2.2, levels A and AA."""

_KEYS = {"Tab": 9, "Enter": 13, "Escape": 27, "Backspace": 8, " ": 32, "ArrowDown": 40, "ArrowUp": 38}
_INSIDE = ("file:", "data:", "blob:", "about:")
_STOP = """(() => {
  const at = document.activeElement;
  if (!at || at === document.body || at === document.documentElement) return null;
  const box = at.getBoundingClientRect(), style = getComputedStyle(at);
  return {
    tag: at.tagName.toLowerCase(), id: at.id, name: at.getAttribute("name"), href: at.getAttribute("href"),
    text: at.textContent.trim().slice(0, 60),
    seen: box.width > 0 && box.height > 0 && style.visibility === "visible",
    ring: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) > 0,
    width: box.width, height: box.height,
    key: [...document.querySelectorAll("*")].indexOf(at),
  };
})()"""


class Page:
    """One page, opened. console: every message, warning and uncaught error, as text. requests: every address that was
    asked for outside the file itself, the browser's own pages and data in the page."""

    def __init__(self, pipe: Pipe, session: str, context: str, downloads: Path) -> None:
        self._pipe, self._session, self._context = pipe, session, context
        self.downloads = downloads
        self.console: list[str] = []
        self.requests: list[str] = []
        self.address = ""
        self._loads = 0
        pipe.listen(session, self._heard)

    def call(self, method: str, **parameters: Any) -> Event:
        """A command of the protocol to this page."""
        return self._pipe.call(method, self._session, **parameters)

    def _heard(self, name: str, event: Event) -> None:
        if name == "Runtime.consoleAPICalled":
            told = " ".join(str(each.get("value", each.get("description"))) for each in event["args"])
            self.console.append(f"{event['type']}: {told}")
        elif name == "Runtime.exceptionThrown":
            details = event["exceptionDetails"]
            self.console.append(f"thrown: {details.get('exception', {}).get('description', details['text'])}")
        elif name == "Log.entryAdded":
            self.console.append(f"{event['entry']['level']}: {event['entry']['text']}")
        elif name == "Network.requestWillBeSent":
            address = event["request"]["url"]
            if not address.startswith(_INSIDE) or (address.startswith("file:") and address != self.address):
                self.requests.append(address)
        elif name == "Page.loadEventFired":
            self._loads += 1
        elif name == "Page.javascriptDialogOpening":
            # A dialog stops the page until it is answered: it is told, and answered with yes.
            self.console.append(f"dialog: {event['message']}")
            self._answer_dialog()

    def _answer_dialog(self) -> None:
        self.call("Page.handleJavaScriptDialog", accept=True)

    def go(self, address: str) -> None:
        """Go to an address and wait until it is loaded and drawn."""
        self.address = address.partition("#")[0]
        loads = self._loads
        answer = self.call("Page.navigate", url=address)
        if answer.get("errorText"):
            raise BrowserFault(f"{address}: {answer['errorText']}")
        self._pipe.wait(lambda: self._loads > loads, f"the load of {address}")
        self.settle()

    def reload(self) -> None:
        """Load the page again, as a person would who pulled it down."""
        loads = self._loads
        self.call("Page.reload")
        self._pipe.wait(lambda: self._loads > loads, "the page to be loaded again")
        self.settle()

    def settle(self, seconds: float = 0.15) -> None:
        """Let timers and late messages come in."""
        self._pipe.linger(seconds)

    def evaluate(self, script: str) -> Any:
        """The value of a JavaScript expression in the page; a promise is waited for."""
        answer = self.call("Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True)
        if "exceptionDetails" in answer:
            details = answer["exceptionDetails"]
            raise BrowserFault(details.get("exception", {}).get("description", details["text"]))
        return answer["result"].get("value")

    def text(self, selector: str = "body") -> str:
        """The text as drawn (what is hidden is left out)."""
        return str(self.evaluate(f"document.querySelector({json.dumps(selector)}).innerText"))

    def click(self, selector: str) -> None:
        """Click in the middle of an element, after bringing it into view. It must be there to be hit."""
        box = self.evaluate(
            f"""(() => {{ const at = document.querySelector({json.dumps(selector)});
            if (!at) return null;
            at.scrollIntoView({{block: "center", behavior: "instant"}});
            const box = at.getBoundingClientRect(), x = box.x + box.width / 2, y = box.y + box.height / 2;
            const hit = document.elementFromPoint(x, y);
            return {{x, y, hit: hit === at || at.contains(hit) || (hit && hit.contains(at))}}; }})()"""
        )
        if box is None or not box["hit"]:
            raise BrowserFault(f"{selector} is {'not there' if box is None else 'covered by something else'}")
        for kind in ("mousePressed", "mouseReleased"):
            self.call("Input.dispatchMouseEvent", type=kind, x=box["x"], y=box["y"], button="left", clickCount=1)
        self.settle(0.05)

    def type(self, selector: str, text: str) -> None:
        """Click into a field, empty it and type the text, key by key as far as the field sees."""
        self.click(selector)
        self.evaluate("document.activeElement.select && document.activeElement.select()")
        if text:
            self.call("Input.insertText", text=text)
        else:
            self.press("Backspace")

    def press(self, key: str, *, shift: bool = False) -> None:
        """Press and let go one key: Tab, Enter, Escape, a letter."""
        code = _KEYS.get(key, ord(key[0].upper()))
        text = {"Enter": "\r", "Tab": None}.get(key, key if len(key) == 1 else None)
        facts: Event = {"key": key, "code": key, "windowsVirtualKeyCode": code, "modifiers": 8 if shift else 0}
        self.call("Input.dispatchKeyEvent", type="keyDown", **facts, **({"text": text} if text else {}))
        self.call("Input.dispatchKeyEvent", type="keyUp", **facts)

    def tab_stops(self, most: int = 400) -> list[Event]:
        """What is reached by the Tab key, in order, until it leaves the page or comes round. For each: tag, id, name,
        href, text, seen (it is drawn), ring (an outline shows the focus), width and height in CSS pixels."""
        self.evaluate("document.activeElement && document.activeElement.blur()")
        found: list[Event] = []
        for _ in range(most):
            self.press("Tab")
            stop = self.evaluate(_STOP)
            if stop is not None and found and stop["key"] == found[-1]["key"]:
                continue  # a field of several parts, such as a day and a time
            if stop is None or any(stop["key"] == each["key"] for each in found):
                break
            found.append(stop)
        return found

    def medium(self, name: str, *, dark: bool = False) -> None:
        """Show the page as for `screen` or `print`, light or dark; "" leaves that to what is done with it."""
        features = [
            {"name": "prefers-color-scheme", "value": "dark" if dark else "light"},
            {"name": "prefers-reduced-motion", "value": "reduce"},
        ]
        self.call("Emulation.setEmulatedMedia", media=name, features=features)

    def wide(self) -> int:
        """How far the content goes beyond the right edge, in CSS pixels: 0 where nobody has to scroll sideways."""
        return int(self.evaluate("document.scrollingElement.scrollWidth - window.innerWidth"))

    def screenshot(self, path: Path, *, whole: bool = True) -> Path:
        """The page as a PNG: the whole of it, or what is in view."""
        facts: Event = {"format": "png", "captureBeyondViewport": whole}
        if whole:
            size = self.call("Page.getLayoutMetrics")["cssContentSize"]
            facts["clip"] = {"x": 0, "y": 0, "width": size["width"], "height": min(size["height"], 16000), "scale": 1}
        path.write_bytes(base64.b64decode(self.call("Page.captureScreenshot", **facts)["data"]))
        return path

    def pdf(self, path: Path, **options: Any) -> Path:
        """The page as it prints: its own @page size, unless paperWidth and paperHeight (inches) are given."""
        facts = {"preferCSSPageSize": "paperWidth" not in options, "printBackground": False, **options}
        path.write_bytes(base64.b64decode(self.call("Page.printToPDF", **facts)["data"]))
        return path

    def axe(self, script: str, tags: tuple[str, ...] = WCAG) -> list[str]:
        """What axe-core finds against these rules, one line each: rule, what it says, the element."""
        self.call("Runtime.evaluate", expression=script)
        options = json.dumps({"runOnly": {"type": "tag", "values": list(tags)}, "resultTypes": ["violations"]})
        found = self.evaluate(f"axe.run(document, {options}).then(done => done.violations)")
        return [
            f"{rule['id']}: {rule['help']}: {node['html'][:200]} ({node.get('failureSummary', '')[:300]})"
            for rule in found
            for node in rule["nodes"]
        ]

    def downloaded(self, name: str) -> Path:
        """The file of that name that the page saved: waited for."""
        path = self.downloads / name
        self._pipe.wait(lambda: path.exists() and path.stat().st_size > 0, f"{name} to be saved", 15)
        return path

    def close(self) -> None:
        self._pipe.call("Target.disposeBrowserContext", browserContextId=self._context)


class Chromium:
    """The browser; every page is opened in a context of its own, with nothing kept from another."""

    def __init__(self, binary: str, home: Path) -> None:
        self._pipe = Pipe(binary, home)
        self._home = home
        self._pages: list[Page] = []
        self.version: str = self._pipe.call("Browser.getVersion")["product"]

    def open(
        self, path: Path | str, *, width: int = DESK, height: int = 800, dark: bool = False, scripts: bool = True,
        zone: str | None = None, touch: bool | None = None,
    ) -> Page:  # fmt: skip
        """Open a local file. scripts: False as with script switched off. zone: the IANA zone of the device's clock.
        touch: a phone's way of laying out; by default for widths below 600."""
        context = self._pipe.call("Target.createBrowserContext")["browserContextId"]
        downloads = self._home / f"saved-{len(self._pages)}"
        downloads.mkdir()
        self._pipe.call(
            "Browser.setDownloadBehavior", behavior="allow", browserContextId=context, downloadPath=str(downloads)
        )
        target = self._pipe.call("Target.createTarget", url="about:blank", browserContextId=context)["targetId"]
        session = self._pipe.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        page = Page(self._pipe, session, context, downloads)
        for domain in ("Page", "Runtime", "Log", "Network"):
            page.call(f"{domain}.enable")
        mobile = width < 600 if touch is None else touch
        page.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=mobile)
        page.medium("", dark=dark)
        if zone is not None:
            page.call("Emulation.setTimezoneOverride", timezoneId=zone)
        if not scripts:
            page.call("Emulation.setScriptExecutionDisabled", value=True)
        self._pages.append(page)
        page.go(path if isinstance(path, str) else path.resolve().as_uri())
        return page

    def close(self) -> None:
        self._pipe.close()
