"""Finding kinds of money: the box against the log, and the card money against the log."""

from recon.findings.catalogue.kind import Kind

_WINDOW = ("machine", "opened_at", "closed_at")
_PAYOUT = ("machine", "paid_on", "from", "to", "reference")

_BOTH_PAYOUTS = tuple(f"{which}_{name}" for which in ("first", "second") for name in _PAYOUT)

PAYOUT_KINDS = ("payout-short", "payout-over", "fee-differs", "payout-overlap", "payout-undated")
"""Kinds that speak of payouts, and are shown with them."""

MONEY_KINDS: tuple[Kind, ...] = (
    Kind(
        code="cash-short", severity="error", about=_WINDOW,
        words="{machine}: cash short {size} (expected {expected}, collected {collected}, tubes {tubes}) from {opened} to {closed}.{also}",
        advice="Count the money again with a second person, look into stacker and coin path, check prices and refunds; a variance never says who.",
        meaning="Less money was collected than the cash vends that stayed paid come to, by more than the tolerance and whichever way the undecided vends fall.",
        example="quay-2: cash short 4.00 (expected 103.50, collected 99.50, tubes 0.00) from 2026-09-14 09:30 to 2026-09-21 09:30.",
        mend="Foreign coins, a jammed bill, refunds given by hand, coins left out of the tubes' count and a wrong price are the usual reasons. None of it is proof of who.",
    ),
    Kind(
        code="cash-over", severity="warning", about=_WINDOW,
        words="{machine}: cash over {size} (expected {expected}, collected {collected}, tubes {tubes}) from {opened} to {closed}.{also}",
        advice="Look for cash vends that the log lacks, a price that is higher in the machine, or coins that were put in by hand.",
        meaning="More money was collected than the cash vends come to: vends are missing from the log, or a price or a figure is wrong.",
        example="climb-1: cash over 12.50 (expected 60.00, collected 72.50, tubes 0.00) from 2026-09-14 08:00 to 2026-09-21 08:00.",
        mend="Compare with the stock windows: units short beside cash over are vends that the log does not have.",
    ),
    Kind(
        code="cash-not-logged", severity="warning", about=("machine",),
        words="{machine}: {collections} gave {collected}, yet its log holds no cash vend at all. Its reader may not report cash sales, so no cash figure can be expected.",
        advice="See whether the reader can report cash sales; until then the stock windows alone show what left.",
        meaning=(
            "Reporting a cash sale to the payment device is optional in MDB/ICP: a machine that does not do it leaves no cash row. Its cash "
            "windows show what was collected and expect nothing, and units sold for cash show as short."
        ),
        example="depot-1: 5 collections gave 212.75, yet its log holds no cash vend at all.",
        mend="If the reader can report cash sales, switch it on. If not, read the machine's own counters.",
    ),
    Kind(
        code="no-collection", severity="warning", about=("machine", "gap"),
        words="{machine}: {vends} by cash, {worth}, {where}. Nothing closes the account of that cash.",
        advice="Put the cash sheet that is missing into inbox/, or collect and note it with the coins left in the tubes.",
        meaning=(
            "Cash is reconciled from one collection to the next. These cash vends lie before the first collection in the books, or behind "
            "the last one though the machine was visited since, or there is no collection at all."
        ),
        example="climb-1: 14 vends by cash, 31.50, since the last collection in the books, on 2026-09-21 10:35, though it was visited on 2026-09-28 10:30. Nothing closes the account of that cash.",
        mend="The first collection opens the account of a machine; every later one closes it and opens the next.",
    ),
    Kind(
        code="collection-restated", severity="warning", about=("machine", "opened_at"),
        words="{machine}: collected {was} by {first}, and {now} by {last}, both for {opened}. The later sheet counts.",
        advice="See which of the two is right. If both are, for two bags of one collection, put them on one sheet: its rows add up.",
        meaning="Two cash sheets give the same machine at the same moment with different money. The one later by file name counts, the other does not; rows of one sheet add up.",
        example="quay-2: collected 99.50 (tubes 20.00) by inbox/cash-38.csv:2, and 103.50 (tubes 20.00) by inbox/cash-38-b.csv:2, both for 2026-09-21 09:30. The later sheet counts.",
        mend="If the earlier sheet was right, take the later one out of inbox/.",
    ),
    Kind(
        code="payout-short", severity="error", about=_PAYOUT,
        words="payout {named} for {span}: short {size} ({figures}). {vends} by card are logged for these days.",
        advice="Ask the processor for the list of payments behind it, and compare it with the log by reference.",
        meaning="What the processor paid and what it kept as fees come to less than the card vends of those days, by more than the tolerance. Where it states no fees, those agreed are taken.",
        example="payout P-3391 for 2026-09-14 to 2026-09-20: short 12.25 (paid 291.55 and fees 18.45, 322.25 expected together). 143 vends by card are logged for these days.",
        mend="Declined, refunded and disputed payments lower a payout. A day cut at another hour moves money between two payouts.",
    ),
    Kind(
        code="payout-over", severity="warning", about=_PAYOUT,
        words="payout {named} for {span}: over {size} ({figures}). {vends} by card are logged for these days.",
        advice="Look for card vends that the log lacks: a reader that was offline sends its payments later.",
        meaning="What the processor paid and kept comes to more than the card vends that the log holds for those days.",
        example="payout P-3392 for 2026-09-21 to 2026-09-27: over 8.50 (paid 280.74 and fees 17.76, 290.00 expected together). 131 vends by card are logged for these days.",
        mend="Take in the export that covers the missing hours.",
    ),
    Kind(
        code="unpaid-vends", severity="error", about=("machine", "from_day"),
        words="{machine}: {vends} by card from {first} to {last}, {worth}, and no payout covers those days, though later ones are paid out.",
        advice="Put the missing statement into inbox/, or claim the days from the processor.",
        meaning="Card vends lie on days that no payout covers, before the last day that one does.",
        example="quay-5: 19 vends by card from 2026-09-07 to 2026-09-08, 41.50, and no payout covers those days.",
        mend="Card vends after the last payout are not reported: they are still to be paid.",
    ),
    Kind(
        code="fee-differs", severity="warning", about=_PAYOUT,
        words="payout {named} for {span}: fees {fees}, where {fees_expected} are agreed for a gross of {gross}; {difference} than that.",
        advice="Compare the statement with the contract, and correct [cards] in route.toml if the terms changed.",
        meaning="The fees stated are not the percentage and per-vend fees of the stated gross, nor these plus the monthly fee.",
        example="payout P-3393 for 2026-09-21 to 2026-09-27: fees 31.40, where 18.45 are agreed for a gross of 310.00; 12.95 more than that.",
        mend="A fee for another service, a new rate or a minimum may stand behind it: ask for the breakdown.",
    ),
    Kind(
        code="payout-overlap", severity="warning", about=_BOTH_PAYOUTS,
        words="payouts {named} and {other} both cover {span}: the {vends} by card of these days, {worth}, are expected of each of them.",
        advice="See which days each of the two pays for, and correct `from` and `to`; if one replaces the other, take that one out of inbox/.",
        meaning="Two payouts for the same machine cover the same days, or one for all machines and one for a machine do. Card vends of these days are expected of both, so that at least one seems short.",
        example="payouts P-3391 and P-3392 both cover 2026-09-20: the 21 vends by card of these days, 47.25, are expected of each of them.",
        mend="A statement that was sent again, a month beside its weeks, and a last day that is the next statement's first are the usual reasons. The days count from the start of `from` to the end of `to`.",
    ),
    Kind(
        code="payout-undated", severity="note", about=_PAYOUT,
        words="payout {named}: {net} net, without the days that it covers, so it could not be checked.",
        advice="Add `from` and `to` to the statement's rows, or map them in its description.",
        meaning="A payout names no first and last day. Which card vends it pays for cannot be told.",
        example="payout P-3394: 280.10 net, without the days that it covers, so it could not be checked.",
        mend="Most statements name the days: give both columns.",
    ),
)  # fmt: skip
