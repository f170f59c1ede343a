"""What a target names, and what is said of one that names nothing."""

from pathlib import Path

import pytest
from builders import RouteBuilder, slot
from traced import reconciled

from recon.ledger.trace_target import Target, target_of
from recon.model.errors import ReconError
from recon.model.reconciliation import Reconciliation


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Reconciliation:
    root = tmp_path_factory.mktemp("route")
    route = RouteBuilder(root).settings(timezone="America/Halifax")
    route.machine("quay-2", slot("110"), slot("A/1")).machine("abcdef", slot("1"))
    route.counts("09-01 09:00, 110, 10", "09-08 09:00, 110, 1")
    route.cash("09-01 09:05, 5.00", "09-08 23:30, 6.00", "09-15 07:00, 1.00", "09-15 18:00, 2.00")
    route.payouts("2026-09-29, 2026-09-01, 2026-09-20, , , 9.00, P/1@x", "2026-09-30, 2026-09-21, 2026-09-28, , , 1.00")
    route.vends("09-03 12:00, 110, cash, 2.00")
    return reconciled(root)[0]


@pytest.mark.parametrize(
    ("text", "kind", "machine", "label"),
    [
        ("quay-2/110", "slot", "quay-2", "110"),
        (" quay-2/110 ", "slot", "quay-2", "110"),
        ("quay-2/a/1", "slot", "quay-2", "A/1"),
        ("quay-2", "machine", "quay-2", None),
        ("abcdef", "machine", "abcdef", None),
        ("P/1@x", "payout", None, None),
        ("payout@2026-09-30", "payout", None, None),
        ("quay-2@2026-09-08", "collection", "quay-2", None),
        ("quay-2@2026-09-08T23:30", "collection", "quay-2", None),
        ("quay-2@2026-09-15", "collection", "quay-2", None),
    ],
)
def test_a_target_is_told_by_its_form(
    done: Reconciliation, text: str, kind: str, machine: str | None, label: str | None
) -> None:
    found = target_of(text, done)
    assert (found.kind, found.machine, found.label) == (kind, machine, label)


def test_a_collection_is_named_by_the_day_in_the_machines_zone(done: Reconciliation) -> None:
    """23:30 in Halifax is the next day in UTC."""
    (moment,) = target_of("quay-2@2026-09-08", done).at
    assert moment.isoformat() == "2026-09-09T02:30:00+00:00"
    assert len(target_of("quay-2@2026-09-15", done).at) == 2
    assert len(target_of("quay-2@2026-09-15T18:00", done).at) == 1


def test_six_digits_of_a_finding_are_enough(done: Reconciliation) -> None:
    for row in done.frames["findings"].to_dicts():
        assert target_of(row["id"][:6], done) == Target("finding", row["id"][:6], finding=row)
        assert target_of(row["id"].upper(), done).finding == row


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("quay-2/111", 'machine "quay-2" has no slot "111". Did you mean "110"? Its labels: 110, A/1'),
        ("quay-3", '"quay-3" is nothing that this run knows. Did you mean "quay-2"? Name a slot'),
        ("quay-3/110", '"quay-3/110" is nothing that this run knows. Did you mean "quay-2"?'),
        ("quay-3@2026-09-08", 'there is no machine "quay-3". Did you mean "quay-2"?'),
        ("quay-2@2026-09-09", 'no collection at 2026-09-09. Did you mean "2026-09-08"? Collections: 2026-09-01, 2026-'),
        ("quay-2@2026-09-08T07:00", "no collection at 2026-09-08T07:00. Did you mean"),
        ("quay-2@2026-09-01", "is its first in the books: it opens the account and closes none. Others: 2026-09-08"),
        ("quay-2@2026-02-30", "2026-02-30 is no day of the calendar"),
        ("abcdef@2026-09-01", 'there is no collection of machine "abcdef" in inbox/'),
        ("payout@2026-09-28", 'Did you mean "2026-09-29"? Days of payouts: 2026-09-29, 2026-09-30'),
        ("0123456789ab", "no finding of this run has an id that begins with 0123456789ab. A finding goes when its"),
        ("", '"" is nothing that this run knows'),
        ("quay-\x1b[31m", '"quay-?[31m" is nothing that this run knows'),
        ("quay-2@", '"quay-2@" is nothing that this run knows. Did you mean "quay-2"?'),
        ("quay-2/", 'machine "quay-2" has no slot "". Its labels: 110, A/1'),
    ],
)
def test_what_names_nothing_is_told_with_the_nearest_names(done: Reconciliation, text: str, said: str) -> None:
    with pytest.raises(ReconError) as refused:
        target_of(text, done)
    assert said in str(refused.value)


def test_a_beginning_of_several_findings_asks_for_more_digits(done: Reconciliation) -> None:
    from dataclasses import replace

    import polars as pl

    alike = done.frames["findings"].head(1).select(pl.all().repeat_by(2).explode())
    doubled = alike.with_columns(pl.Series("id", ["aaaaaa000001", "aaaaaa000002"]))
    many = replace(done, frames={**done.frames, "findings": doubled})
    with pytest.raises(ReconError, match="2 findings have an id that begins with aaaaaa: aaaaaa000001, aaaaaa000002"):
        target_of("aaaaaa", many)


def test_a_machine_without_a_layout_has_no_slot_and_can_be_traced(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1")).vends("09-03 12:00, A1, cash, 2.00", machine="0999")
    done, _ = reconciled(route.root)
    assert target_of("0999", done).kind == "machine"
    with pytest.raises(ReconError, match='machine "0999" has no layout, so no slot of it is known'):
        target_of("0999/A1", done)
