"""Fixtures of the tests in a browser.

chromium: headless Chromium, one for the session. axe: the text of axe.min.js, for page.axe(axe). Where the browser or
axe-core is missing, the tests are skipped with the reason, unless RECON_BROWSER=required says that they must run.
RECON_CHROMIUM names another browser, RECON_AXE another axe.min.js. `.ci/browser` installs both.
"""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import NoReturn

import pytest
from chromium import Chromium

TOP = Path(__file__).resolve().parents[2]
_BINARIES = ("chromium", "chromium-browser")
_AXE = TOP / ".browser" / "node_modules" / "axe-core" / "axe.min.js"


def _lacking(what: str) -> NoReturn:
    if os.environ.get("RECON_BROWSER") == "required":
        pytest.fail(f"RECON_BROWSER=required, and {what}")
    pytest.skip(f"{what}: run .ci/browser as root to install it")


@pytest.fixture(scope="session")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Chromium]:
    """Headless Chromium with a profile of its own."""
    named = os.environ.get("RECON_CHROMIUM")
    binary = shutil.which(named) if named else next(filter(None, map(shutil.which, _BINARIES)), None)
    if binary is None:
        _lacking(f"there is no {named or 'chromium'} to run pages in")
    browser = Chromium(binary, tmp_path_factory.mktemp("chromium"))
    yield browser
    browser.close()


@pytest.fixture(scope="session")
def axe() -> str:
    """axe-core as a script."""
    path = Path(os.environ.get("RECON_AXE") or _AXE)
    if not path.is_file():
        _lacking("there is no axe-core to hold pages against WCAG with")
    return path.read_text(encoding="utf-8")
