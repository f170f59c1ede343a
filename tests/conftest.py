"""For all tests: `--accept-golden` writes the files under tests/golden anew instead of comparing with
them."""

import os
from pathlib import Path

import pytest
from builders import RouteBuilder, slot
from hypothesis import settings

# In tests pandera judges every frame at every border; in daily use it does so only where a first look finds a
# fault.
os.environ.setdefault("RECON_BORDERS", "full")

# No test judges by the clock: a busy machine is no fault.
settings.register_profile("patient", deadline=None)
settings.load_profile("patient")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--accept-golden",
        action="store_true",
        help="write the golden files under tests/golden anew; look at the difference before committing it",
    )


@pytest.fixture
def route(tmp_path: Path) -> RouteBuilder:
    """A route with one machine m-1 of one slot A1 that sells gum for 2.00."""
    return RouteBuilder(tmp_path).machine("m-1", slot("A1"))
