"""A bundle of evidence: the last run of a route's ledger, or what of it concerns one thing, with the proofs.

The figures are those that the ledger has a hash of. They are reckoned anew first: a folder whose files, settings or
decisions give other figures by now is refused, so that what is packed hangs together.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from recon.intake.container import unpack
from recon.ledger.bundle import Bundle
from recon.ledger.bundle_settings import put_settings, settings_of_run
from recon.ledger.concerned import Concerned, Record, all_concerned, concerned, shown_records
from recon.ledger.entries import Entry
from recon.ledger.journal import Ledger, reading
from recon.ledger.lines import Leaves, lines_of
from recon.ledger.originals import original, whole
from recon.ledger.settings import seen_settings
from recon.ledger.trace import Trace
from recon.ledger.trace import trace as trace_of
from recon.ledger.trace_originals import Inbox, original_texts
from recon.ledger.trace_target import target_of
from recon.model.errors import ReconError
from recon.model.reconciliation import Reconciliation
from recon.model.zones import zone
from recon.reconcile import Progress, Run, run
from recon.report.cover import Cover, cover_page
from recon.report.rows_csv import rows_csv
from recon.report.trace_json import trace_json
from recon.report.trace_text import trace_text
from recon.route.folder import Route, read_route


@dataclass(frozen=True, slots=True)
class Packed:
    """A bundle. files: name to content. shown: files whose rows are in it. left_out: what is not, and why."""

    files: Mapping[str, bytes]
    root: str
    size: int
    shown: int
    left_out: tuple[str, ...]


def pack(
    folder: Path,
    *,
    target: str | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
    rows_only: bool = False,
    on_step: Progress = lambda step: None,
) -> Packed:
    """Put together what proves the last run of a route, or what of it concerns a target.

    target: a machine, slot, finding, collection or payout (see recon.ledger.trace_target); None: all of the route.
    since, until: the windows concerned close after `since` and not after `until` (aware). rows_only: show of each file
    the rows that concern the target, and of the others their hashes. Raises ReconError where the ledger has no run, or
    the folder gives other results by now; LedgerDamaged where something that was kept is missing or altered.
    """
    if rows_only and target is None:
        raise ReconError("--rows-only leaves out what does not concern a machine, slot or finding: name one")
    route = read_route(folder)
    with reading(folder) as ledger:
        made = _last_run(ledger)
        results = _results(folder, made)
        done = _same_again(folder, made, results, on_step).reconciliation
        if since is not None or until is not None:
            done = run(folder, since=since, until=until, now=made.at, on_step=on_step).reconciliation
        on_step("gathering the evidence")
        inbox = Inbox(route, done)
        trace = None if target is None else trace_of(target_of(target, done), done, inbox)
        found = all_concerned(done) if trace is None else concerned(trace, done)
        packing = _Packing(ledger, route, done, made, found, inbox, trace, rows_only)
        return packing.packed(results)


def _last_run(ledger: Ledger) -> Entry:
    runs = ledger.entries("run-made")
    if not runs:
        raise ReconError(f"{ledger.path.as_posix()} holds no run yet: recon run makes one")
    return runs[-1]


def _results(folder: Path, made: Entry) -> bytes:
    path = folder / "reports" / str(made.body["report"]) / "results.json"
    if not path.is_file():
        raise ReconError(
            f"{path.as_posix()} is missing, and the bundle is to hold what it says. "
            "Put it back, or make a new one: recon run"
        )
    return whole(folder, path, made.body["results"])


def _same_again(folder: Path, made: Entry, results: bytes, on_step: Progress) -> Run:
    """The last run once more. Raises ReconError where the folder gives other results than it did."""
    since, until = (None if text is None else datetime.fromisoformat(text) for text in _span(made))
    finished = run(folder, since=since, until=until, now=made.at, on_step=on_step)
    if finished.json().encode() != results:
        raise ReconError(
            f"the folder gives other results by now than the last run of {_at(made)}: files, settings, decisions or "
            "versions changed since. Run recon run, then pack"
        )
    return finished


def _span(made: Entry) -> tuple[str | None, str | None]:
    return made.body["since"], made.body["until"]


def _at(made: Entry) -> str:
    return f"{made.at:%Y-%m-%d %H:%M} UTC"


@dataclass(slots=True)
class _Packing:
    """One bundle being put together."""

    ledger: Ledger
    route: Route
    done: Reconciliation
    made: Entry
    found: Concerned
    inbox: Inbox
    trace: Trace | None
    rows_only: bool
    told: list[tuple[str, str]] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)
    bundle: Bundle = field(init=False)
    entries: list[Entry] = field(init=False)

    def __post_init__(self) -> None:
        self.bundle, self.entries = Bundle(self.ledger.rows()), self.ledger.entries()

    def packed(self, results: bytes) -> Packed:
        """Everything, in the order in which the cover page tells it."""
        records = self._results(results)
        self._settings()
        shown = sum(self._file(file) for file in self.found.files)
        self._beside(records)
        self._decided()
        anchor = self.ledger.anchor
        runs = [entry for entry in self.entries if entry.kind == "run-made" and entry.number > 1]
        earlier = [
            {"at": _at(one), "report": one.body["report"], "entries": one.number - 1,
             "root": self.ledger.anchor_at(one.number - 1).root}
            for one in runs
        ]  # fmt: skip
        what = "the entries of the ledger that concern it; the SHA-256 of a file is the entry's hash"
        self.told.append(("entries/", what))
        self.told.append(("bundle.json, SHA256SUMS", "which entry proves which file, and the way from it to the root"))
        self.told.append(("verify.py", "checks all of it"))
        about = self._about()
        page = cover_page(
            Cover(
                self.done.name, self.done.currency, about, self._in_words(),
                {"at": _at(self.made), "report": str(self.made.body["report"])},
                anchor.root, anchor.entries, earlier, self.told, records, self.left_out, self.rows_only,
            )
        )  # fmt: skip
        self.bundle.plain("cover.html", page.encode())
        said = {"route": self.done.name, "about": about, "span": self._in_words(), "rows_only": self.rows_only}
        files = self.bundle.finished(said, (one["entries"] for one in earlier))
        return Packed(files, anchor.root, anchor.entries, shown, tuple(self.left_out))

    def _about(self) -> str:
        if self.trace is None:
            return "the whole route"
        target = self.trace.target
        return f"{target.kind} {target.text}"

    def _in_words(self) -> str:
        here = zone(self.done.zone)
        since, until = self.done.since, f"{self.done.until.astimezone(here):%Y-%m-%d %H:%M} ({self.done.zone})"
        if since is None:
            return f"windows that close up to {until}"
        return f"windows that close after {since.astimezone(here):%Y-%m-%d %H:%M} and up to {until}"

    def _results(self, results: bytes) -> dict[str, list[Record]]:
        """What was reckoned: whole, or the records that concern the target."""
        shown, records = shown_records(results, self.found.wants)
        name = "results.json"
        tree = self.made.body["lines"]
        if len(shown) == sum(1 for _ in lines_of(results)):
            self.bundle.whole(name, results, self.made.number, "results")
            self.told.append((name, "what the run found, as the ledger has its hash"))
        elif tree is None:
            self.bundle.entry(self.made.number)
            self.left_out.append("results.json: it is too long to be shown in part. The figures stand on this page")
        else:
            self.bundle.part("results-in-part.txt", results, shown, self.made.number)
            what = "the lines of results.json that concern this, each in its place"
            self.told.append(("results-in-part.txt", what + _beside_them(tree)))
        return records

    def _settings(self) -> None:
        """route.toml, the layouts of the machines and the descriptions of the files, as the run had them."""
        root, seen = self.route.root, seen_settings(self.entries, self.route.root)
        in_force = settings_of_run(self.made, seen)
        laid = {one.file for one in self.route.layouts if one.layout.machine in self.found.machines}
        used = set(self.done.frames["inputs"].filter(self._of_files())["source"].drop_nulls().to_list())
        described = {one.file for one in self.route.sources if one.name in used}
        wanted = {"route.toml", *laid, *described} if self.trace is not None else set(in_force)
        put_settings(self.bundle, root, self.made, seen, wanted, laid)
        self.told.append(("settings/", "settings, layouts and descriptions of exports, as the run read them"))
        if any(name.startswith("settings/lists/") for name in self.bundle.files):
            self.told.append(("settings/lists/", "lists of their hashes, the lines of other files left empty"))
        if any(name.startswith("settings/earlier/") for name in self.bundle.files):
            self.told.append(("settings/earlier/", "the same layouts as they were before, by the entry that saw them"))
        if self.trace is not None and "products.csv" in in_force:
            self.left_out.append("products.csv: what the goods cost the operator")

    def _of_files(self) -> Any:
        import polars as pl

        return pl.col("file").is_in(self.found.files)

    def _file(self, file: int) -> bool:
        """One file of the inbox, whole or in part. Returns whether it is in the bundle."""
        inputs = self.done.frames["inputs"]
        name, sha256 = self.inbox.name(file), inputs["sha256"][file]
        taken = [one for one in self.entries if one.kind == "file-taken" and one.body["file"] == name]
        entry = next((one for one in reversed(taken) if one.body["sha256"] == sha256), None)
        if entry is None or sha256 is None:
            self.left_out.append(f"{name}: it was not taken in, so the ledger did not keep it")
            return False
        data = original(self.route.root, entry.body["original"])
        if not self.rows_only:
            self.bundle.whole(name, data, entry.number)
            self._tell_inbox("files as they arrived")
            return True
        if self._in_part(name, data, file, entry):
            self._tell_inbox("files as they arrived, the lines that do not concern this left empty")
            beside = _beside_them(entry.body["lines"])
            if beside:
                self.told.append((name, f"the lines that concern this{beside}"))
            return True
        self.bundle.entry(entry.number)
        self.left_out.append(
            f"{name}: its lines cannot be shown one by one. Its rows are in rows/, its hash in entry {entry.number}"
        )
        return False

    def _tell_inbox(self, what: str) -> None:
        if ("inbox/", what) not in self.told:
            self.told.append(("inbox/", what))

    def _in_part(self, name: str, data: bytes, file: int, entry: Entry) -> bool:
        """Some lines of a text file; a workbook, an archive or a file in UTF-16 has none that stand by themselves."""
        if entry.body.get("lines") is None or b"\0" in data or unpack(data, name).data is not data:
            return False
        part = self.inbox.part(file)
        lines = Leaves.of(data, entry.body["lines"])
        header = part.table.line if part is not None and part.table.delimiter else 1
        rows = self.found.rows_of(file)
        shown = {at for row in (header, *rows) if 1 <= row <= len(lines) for at in _record(lines, row)}
        return self.bundle.part(name, data, shown, entry.number)

    def _beside(self, records: dict[str, list[Record]]) -> None:
        """What is worked out from the rest: rows as they were read, and the trace."""
        for kind, text in rows_csv(self.done, self.found.places):
            self.bundle.plain(f"rows/{kind}.csv", text.encode())
        self.told.append(("rows/", "the rows that concern this as they were read, with file and line"))
        if self.trace is not None:
            texts = original_texts(self.trace.places, self.inbox)
            self.bundle.plain("trace.json", trace_json(self.trace, self.done, texts).encode())
            self.bundle.plain("trace.txt", trace_text(self.trace, self.done, self.inbox, every=True).encode())
            what = "every line behind the figures in time order, with the balance after it"
            self.told.append(("trace.txt, trace.json", what))

    def _decided(self) -> None:
        """Decisions about the findings, counts put right, and for the whole route every other entry, too."""
        for entry in self.entries:
            about = entry.body.get("finding")
            if about in self.found.findings or self.trace is None:
                self.bundle.entry(entry.number)
            attachment = entry.body.get("attachment")
            if attachment is not None and about in self.found.findings:
                data = original(self.route.root, attachment["original"])
                self.bundle.whole(f"attachments/{entry.number:06d}-{Path(attachment['name']).name}", data, entry.number)
        if any(name.startswith("attachments/") for name in self.bundle.files):
            self.told.append(("attachments/", "what was attached to decisions, by the number of the entry"))


def _beside_them(tree: Mapping[str, Any]) -> str:
    """Say which other lines are shown, too. tree: what the entry keeps of the file's lines."""
    leaf = tree.get("leaf", 1)
    return "" if leaf == 1 else f"; each with its block of {leaf} lines, in which up to {leaf - 1} others stand"


def _record(lines: Leaves, row: int) -> range:
    """The lines of the record that begins on a line: a quoted cell may go on over several."""
    last, quotes = row, lines[row - 1].count(b'"')
    while quotes % 2 and last < len(lines):
        last += 1
        quotes += lines[last - 1].count(b'"')
    return range(row, last + 1)


def file_name(packed: Packed, route: str, target: str | None) -> str:
    """A name for the zip that tells bundles apart: of what, and the first digits of what is in it."""
    import re

    words = re.sub(r"[^A-Za-z0-9]+", "-", f"{route} {target or ''}").strip("-").lower() or "route"
    return f"evidence-{words}-{hashlib.sha256(packed.files['SHA256SUMS']).hexdigest()[:8]}.zip"
