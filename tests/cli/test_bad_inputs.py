"""Inputs that cannot be used: one clear message each, exit code 1 or 2, no traceback, and nothing lost.

Each case runs as the command does, from its entry point, in this process; test_run_command.py runs real
processes.
"""

import io
import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest
from builders import RouteBuilder, change, slot

from recon.cli.main import main
from recon.intake import gather

COUNTS = ("09-01 09:00, A1, 10", "09-08 09:00, A1, 9")
SALE = "09-03 12:00, A1, card, 2.00"


@pytest.fixture
def ordered(route: RouteBuilder) -> RouteBuilder:
    """A route in which everything agrees, for one thing to go wrong in."""
    return route.counts(*COUNTS).vends(SALE)


class Outcome:
    """What a command left behind: exit code, both streams."""

    def __init__(self, code: int, out: str, err: str) -> None:
        self.code, self.out, self.err = code, out, err
        assert "Traceback" not in out + err

    def found(self) -> list[tuple[str, int, list[tuple[str, int | None]]]]:
        """Findings as kind, how many rows, and which."""
        findings = json.loads(self.out)["findings"]
        return [
            (
                each["kind"],
                each["evidence_count"],
                [(proof["file"].removeprefix("inbox/"), proof["row"]) for proof in each["evidence"]],
            )
            for each in findings
        ]

    def rows(self) -> dict[str, tuple[int, int, int, int]]:
        inputs = json.loads(self.out)["inputs"]
        return {
            each["file"].removeprefix("inbox/"): (
                each["rows"],
                each["accepted"],
                each["duplicate"],
                each["rejected"],
            )
            for each in inputs
        }


Command = Callable[..., Outcome]


@pytest.fixture
def command(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Command:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1790700000")

    def run(*words: str | Path) -> Outcome:
        monkeypatch.setattr("sys.argv", ["recon", *map(str, words)])
        with pytest.raises(SystemExit) as stop:
            main()
        out, err = capfd.readouterr()
        return Outcome(int(stop.value.code or 0), out, err)

    return run


def as_json(command: Command, route: RouteBuilder) -> Outcome:
    return command("run", route.root, "--format", "json", "--quiet")


def test_all_agrees_before_anything_goes_wrong(ordered: RouteBuilder, command: Command) -> None:
    done = as_json(command, ordered)
    assert (done.code, done.found(), done.err) == (0, [], "")


@pytest.mark.parametrize("there", [True, False])
def test_an_empty_inbox(route: RouteBuilder, command: Command, there: bool) -> None:
    if not there:
        (route.root / "inbox").rmdir()
    done = command("run", route.root)
    assert (done.code, done.out) == (2, "")
    assert "inbox" in done.err


def test_a_folder_that_does_not_exist(tmp_path: Path, command: Command) -> None:
    done = command("run", tmp_path / "nowhere")
    assert (done.code, done.out) == (2, "")
    assert "nowhere" in done.err


@pytest.mark.parametrize(
    "words",
    [
        ("run", "."),
        ("run", "route", "--since", "yesterday"),
        ("run", "route", "--since", "2026-09-08T09:00:00Z"),
        ("run", "route", "--since", "2026-09-08", "--until", "2026-09-01"),
        ("run", "route", "--format", "xml"),
        ("runn",),
    ],
)
def test_words_that_make_no_command(
    tmp_path: Path, command: Command, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    RouteBuilder(tmp_path / "route").machine("m-1", slot("A1")).counts(*COUNTS)
    monkeypatch.chdir(tmp_path)
    done = command(*words)
    assert (done.code, done.out) == (2, "")
    assert done.err.strip()
    assert not (tmp_path / "route/reports").exists()


def test_a_machine_without_a_layout(ordered: RouteBuilder, command: Command) -> None:
    (ordered.root / "layouts/m-1.toml").unlink()
    done = as_json(command, ordered)
    assert (done.code, done.found()) == (
        1,
        [("unknown-machine", 3, [("counts.csv", 2), ("counts.csv", 3), ("vends.csv", 2)])],
    )
    assert done.rows() == {"counts.csv": (2, 2, 0, 0), "vends.csv": (1, 1, 0, 0)}


def second(route: RouteBuilder) -> None:
    route.file("layouts/other.toml", (route.root / "layouts/m-1.toml").read_text())


def outside(route: RouteBuilder) -> None:
    route.machine("m-2", slot("A1"))
    path = route.root / "layouts/m-2.toml"
    path.write_text(path.read_text().replace('"m-2"', '"../m-2"'))


def early(route: RouteBuilder) -> None:
    route.machine("m-1", slot("A1"), changes=[change("2025-12-31T00:00:00", "A1", price="1.00")])


def misspelt(route: RouteBuilder) -> None:
    route.machine("m-1", slot("A1", prise="2.00"))


@pytest.mark.parametrize(
    ("spoil", "kind", "file"),
    [
        (second, "duplicate-machine", "layouts/other.toml"),
        (outside, "bad-value", "layouts/m-2.toml"),
        (early, "change-out-of-order", "layouts/m-1.toml"),
        (misspelt, "unknown-key", "layouts/m-1.toml"),
        (lambda route: route.file("layouts/m-2.toml", "machine = \n"), "bad-value", "layouts/m-2.toml"),
        (
            lambda route: route.file("sources/log.toml", 'kind = "vend"\nfiles = ["*"]\n'),
            "bad-value",
            "sources/log.toml",
        ),
        (
            lambda route: route.file("route.toml", 'name = "x"\ncurrency = "XXX"\ntimezone = "UTC"\n'),
            "unknown-currency",
            "route.toml",
        ),
        (
            lambda route: route.file("route.toml", 'name = "x"\ncurrency = "CAD"\ntimezone = "Halifax"\n'),
            "unknown-timezone",
            "route.toml",
        ),
        (lambda route: route.file("products.csv", "id,unit_cost\ngum,free\n"), "bad-value", "products.csv"),
    ],
)
def test_settings_that_cannot_be_used_stop_the_run(
    ordered: RouteBuilder, command: Command, spoil: Callable[[RouteBuilder], object], kind: str, file: str
) -> None:
    spoil(ordered)
    done = command("run", ordered.root)
    assert (done.code, done.out) == (2, "")
    assert [line.split("  ")[1] for line in done.err.splitlines() if line.startswith(file)] == [kind]
    assert not (ordered.root / "reports").exists()


def test_a_machine_id_in_a_log_leads_to_no_file(ordered: RouteBuilder, command: Command) -> None:
    ordered.vends(SALE, machine="../../m-1")
    done = as_json(command, ordered)
    assert (done.code, done.found()) == (1, [("unknown-machine", 1, [("vends.csv", 3)])])


BAD_CELLS = {
    "a count of ten": ("counts", "09-09 09:00, A1, ten"),
    "a negative count": ("counts", "09-09 09:00, A1, -1"),
    "a price of 1e9": ("vends", "09-03 12:30, A1, card, 1000000000"),
    "the same in figures with an exponent": ("vends", "09-03 12:30, A1, card, 1e9"),
    "a time in 1970": ("vends", "1970-01-01 00:00, A1, card, 2.00"),
    "a day that is none": ("vends", "09-31 12:00, A1, card, 2.00"),
}


@pytest.mark.parametrize("what", BAD_CELLS)
def test_a_row_that_cannot_be_used(ordered: RouteBuilder, command: Command, what: str) -> None:
    kind, row = BAD_CELLS[what]
    getattr(ordered, kind)(row)
    line = {"counts": 4, "vends": 3}[kind]
    done = as_json(command, ordered)
    assert (done.code, done.found()) == (1, [("rejected-row", 1, [(f"{kind}.csv", line)])])
    rows, accepted, duplicate, rejected = done.rows()[f"{kind}.csv"]
    assert (rows, accepted, duplicate, rejected) == (line - 1, line - 2, 0, 1)
    rejects = next(ordered.root.glob("reports/*/rejects.csv")).read_text(encoding="utf-8").splitlines()
    assert rejects[1].startswith(f"inbox/{kind}.csv,{line},")
    assert (ordered.root / f"inbox/{kind}.csv").read_text().splitlines()[line - 1] in rejects[1].replace(
        '"', ""
    )


def test_a_time_to_come(ordered: RouteBuilder, command: Command) -> None:
    done = as_json(command, ordered.vends("2099-01-01 00:00, A1, card, 2.00"))
    assert (done.code, done.found()) == (1, [("future-time", 1, [("vends.csv", 3)])])


def test_a_description_that_names_a_column_that_is_not_there(ordered: RouteBuilder, command: Command) -> None:
    ordered.file(
        "sources/log.toml",
        'kind = "vends"\nfiles = ["vends*"]\n'
        '[columns]\nmachine = "machine"\ntime = "time"\nbus = "Item"\ntender = "tender"\n',
    )
    done = as_json(command, ordered)
    assert done.code == 2
    assert ("unknown-format", 1, [("vends.csv", None)]) in done.found()
    assert done.rows()["vends.csv"] == (1, 0, 0, 1)


def test_a_picture_under_the_name_of_a_log(ordered: RouteBuilder, command: Command) -> None:
    done = as_json(command, ordered.file("inbox/photo.csv", b"\x89PNG\r\n\x1a\n\0\0"))
    assert (done.code, done.found()) == (2, [("unreadable-file", 1, [("photo.csv", None)])])
    assert done.rows()["photo.csv"] == (0, 0, 0, 0)


def test_a_file_twice_under_two_names(ordered: RouteBuilder, command: Command) -> None:
    done = as_json(
        command, ordered.file("inbox/vends-copy.csv", (ordered.root / "inbox/vends.csv").read_bytes())
    )
    assert [kind for kind, *_ in done.found()] == ["duplicate-row"]
    assert (done.rows()["vends-copy.csv"], done.rows()["vends.csv"]) == ((1, 1, 0, 0), (1, 0, 1, 0))
    assert done.code == 0
    assert command("run", ordered.root, "--quiet", "--fail-on", "warning").code == 1


def test_a_file_that_may_not_be_read(
    ordered: RouteBuilder, command: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As the superuser may read everything, the refusal is put in the way of those who open the file."""

    def refuse(path: Path) -> io.FileIO:
        if path.name == "locked.csv":
            raise PermissionError(13, os.strerror(13), str(path))
        return io.FileIO(path)

    monkeypatch.setattr(gather, "FileIO", refuse)
    done = as_json(command, ordered.file("inbox/locked.csv", "a,b\n"))
    assert (done.code, done.found()) == (2, [("unreadable-file", 1, [("locked.csv", None)])])


def test_a_folder_that_may_not_be_written(
    ordered: RouteBuilder, command: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(path: Path, *_: object, **__: object) -> None:
        raise PermissionError(13, os.strerror(13), str(path))

    monkeypatch.setattr(Path, "mkdir", refuse)
    done = command("run", ordered.root)
    assert (done.code, done.out) == (2, "")
    assert "ledger: the folder cannot be written to" in done.err
    assert command("run", ordered.root, "--dry-run").code == 0
