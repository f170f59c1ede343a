"""What was learned into the machine's layout: written where that is asked for, else shown as a difference."""

from dataclasses import dataclass
from datetime import datetime, time
from pathlib import Path

from recon.cli.learn import Lesson
from recon.match.numbering import numbers
from recon.model.errors import ReconError
from recon.model.zones import zone
from recon.route.write import difference, text_of, write_numbers


@dataclass(frozen=True, slots=True)
class Proposed:
    """A layout file as it would be. name: the file within the route. diff: a unified diff, empty where none."""

    path: Path
    name: str
    text: str
    diff: str


def propose(lesson: Lesson, changed: str | None) -> Proposed:
    """The machine's layout with what was learned. changed: the local time at which the numbers changed, None where the
    layout was wrong before.

    The rule goes in only where it is certain; until then the confirmed numbers alone. A machine without a layout gets
    one, in force from the day of its first test. Raises ReconError where the file cannot be edited or `changed` read.
    """
    learned = lesson.learned
    path = lesson.layout_file or lesson.route.root / "layouts" / f"{learned.machine}.toml"
    since = _moment(changed)
    if since is None and not path.exists():
        since = _first_test(lesson)
    text = write_numbers(
        path,
        learned.numbers,
        learned.rule if learned.certain else None,
        since=since,
        pitches=learned.pitches if learned.certain else None,
        machine=learned.machine,
        by_rule=numbers,
    )
    name = path.relative_to(lesson.route.root).as_posix()
    return Proposed(path, name, text, "" if text == text_of(path) else difference(path, text, name))


def _moment(text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is not None:
        raise ReconError(f'--changed "{text}": expected a local time without offset, such as 2026-09-14T07:30:00')
    return moment


def _first_test(lesson: Lesson) -> datetime | None:
    """The start of the day of the first test that has a time, else of the first vend found; local."""
    tests = lesson.learned.tests
    known = [test.time for test in tests if test.time is not None] or [test.vend.time for test in tests if test.vend]
    if not known:
        return None
    # Clocks differ: a vend that the log has a little earlier finds its slot, too.
    return datetime.combine(min(known).astimezone(zone(lesson.zone)), time())
