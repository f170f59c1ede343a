"""What --since and --until take for a day."""

import pytest
from builders import RouteBuilder
from typer.testing import CliRunner

from recon.cli.main import app


@pytest.mark.parametrize("text", ["2026", "2026-09", "202609", "2026-13-01", "tomorrow", "", "2026-09-01T07:00Z"])
@pytest.mark.parametrize("option", ["--since", "--until"])
def test_a_month_or_a_year_is_not_taken_for_its_first_day(route: RouteBuilder, option: str, text: str) -> None:
    route.counts("09-01 09:00, A1, 9")
    done = CliRunner().invoke(app, ["run", str(route.root), "--dry-run", option, text])
    assert (done.exit_code, option in done.output) == (2, True)


@pytest.mark.parametrize("text", ["2026-09-01", "20260901", "2026-09-01T07:00", "2026-W36-2"])
def test_days_and_local_times_are_taken(route: RouteBuilder, text: str) -> None:
    route.counts("09-01 09:00, A1, 9")
    assert CliRunner().invoke(app, ["run", str(route.root), "--dry-run", "--until", text]).exit_code == 0
