"""The report of the sample with planted trouble, byte for byte, beside this file.

After a change that is meant, `pytest tests/report --accept-golden` writes it anew: look at the difference, and at the
page, before committing it.
"""

import difflib
from pathlib import Path

import pytest
from report_routes import pages

GOLDEN = Path(__file__).resolve().parent / "golden" / "bayside.html"


def test_the_report_is_the_golden_one(request: pytest.FixtureRequest) -> None:
    [(_, found)] = pages("bayside").items()
    if request.config.getoption("--accept-golden"):
        GOLDEN.parent.mkdir(exist_ok=True)
        GOLDEN.write_text(found, encoding="utf-8", newline="\n")
    assert GOLDEN.is_file(), "pytest tests/report --accept-golden writes it"
    kept = GOLDEN.read_bytes().decode("utf-8")
    changes = list(difflib.unified_diff(kept.splitlines(), found.splitlines(), "golden", "now", n=0, lineterm=""))
    assert found == kept, "\n".join(
        ["if it is meant to: pytest tests/report --accept-golden", *(line[:300] for line in changes[:40])]
    )
