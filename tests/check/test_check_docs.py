"""The files shown in the reference of the route folder are files that the check takes."""

import re
from pathlib import Path

from check_texts import Lay

from recon.findings.catalogue import CHECK_KINDS
from recon.findings.layouts import check

DOCS = Path(__file__).parents[2] / "docs"


def test_the_files_shown_are_good(lay: Lay) -> None:
    text = (DOCS / "route-folder.md").read_text(encoding="utf-8")
    layout, source = re.findall(r"```toml\n(.*?)```", text, re.DOTALL)
    (table,) = re.findall(r"```csv\n(.*?)```", text, re.DOTALL)
    files = {"layouts/quay-2.toml": layout, "layouts/climb-1.csv": table, "sources/log.toml": source}
    assert check(lay(files)) == []


def test_every_kind_stands_in_the_page_of_the_command_with_its_severity() -> None:
    text = (DOCS / "check.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (`.*?`) \| (\w+) \| (yes|no) \|", text, re.MULTILINE)
    told = {
        code: (severity, stops) for codes, severity, stops in rows for code in re.findall(r"`(.*?)`", codes)
    }
    assert told == {
        kind.code: (kind.severity, "yes" if kind.stops_run else "no") for kind in CHECK_KINDS.values()
    }
