"""Finding kinds of stock: what was in the slots against what ought to have been."""

from recon.findings.catalogue.kind import Kind

_WINDOW = ("machine", "label", "opened_at", "closed_at")

STOCK_KINDS: tuple[Kind, ...] = (
    Kind(
        code="stock-short", severity="error", about=_WINDOW,
        words="{machine} {label}: short {size} (expected {expected}, counted {counted}) from {opened} to {closed}{at_retail}.{also}",
        advice="Look first for a miscount, a load noted too high, a number mapped wrongly or a reader that was offline; a variance never says who.",
        meaning="Fewer units were counted than opening + loaded - removed - vended, whichever way the vends near the counts fall. Something left the slot, or the data says so wrongly.",
        example="quay-2 110: short 2 (expected 5, counted 3) from 2026-09-14 09:30 to 2026-09-21 09:30, 3.50 at retail.",
        mend="Correct the sheet, slip or layout if one of them is wrong. A variance is a figure, not proof of theft or of who: do not accuse anyone on its strength.",
    ),
    Kind(
        code="stock-over", severity="warning", about=_WINDOW,
        words="{machine} {label}: over {size} (expected {expected}, counted {counted}) from {opened} to {closed}{at_retail}.{also}",
        advice="Look for a load nobody wrote down, a miscount, or vends that were logged and did not drop.",
        meaning="More units were counted than there ought to be, whichever way the vends near the counts fall. An over never makes up for a short elsewhere.",
        example="climb-1 A4: over 3 (expected 4, counted 7) from 2026-09-07 08:00 to 2026-09-14 08:05, 6.00 at retail.",
        mend="Add the load slip that is missing, or correct the count.",
    ),
    Kind(
        code="boundary-vends", severity="note", about=_WINDOW,
        words="{machine}{slot}: {variance} from {opened} to {closed}, which vends within {minutes} minutes of either end alone could explain.",
        advice="Nothing to do. Noting the time of a visit to the minute makes this rarer.",
        meaning="The variance is outside the tolerance as the times stand, but not if vends close to a visit happened on its other side, or refunded units never dropped.",
        example="quay-2 112: 1 short from 2026-09-14 09:30 to 2026-09-21 09:30, which vends within 10 minutes of either end alone could explain.",
        mend="Write the time when the count begins, and keep the clocks of reader and phone together.",
    ),
    Kind(
        code="below-zero", severity="warning", about=(*_WINDOW[:3],),
        words="{machine} {label}: below nothing from {when} on, down to {units} units, counted on from {opening} on {opened}. More left the slot than was in it.",
        advice="Look for a load that was not written down, or another slot's number mapped to this one.",
        meaning="The running balance of the slot passes below nothing inside a window: more vends are logged for it than it can have held.",
        example="quay-2 118: below nothing from 2026-09-18 14:20 on, down to -3 units, counted on from 4 on 2026-09-14 09:30. More left the slot than was in it.",
        mend="Add the load slip, or correct the number in the layout.",
    ),
    Kind(
        code="above-capacity", severity="warning", about=(*_WINDOW[:3],),
        words="{machine} {label}: {units} units on {when}, where {capacity} fit.",
        advice="Check the count, the load and the capacity in the layout.",
        meaning="The units in the slot are more than its capacity: a load noted twice or for another slot, a miscount, or a capacity that is out of date.",
        example="climb-1 A2: 13 units on 2026-09-07 08:00, where 10 fit.",
        mend="Correct the sheet or slip, or the slot's `capacity`.",
    ),
    Kind(
        code="no-opening-count", severity="warning", about=("machine", "label"),
        words="{machine} {label}: {moved} before {until}. Nothing can be said of that time.",
        advice="Count every slot once before it is used; the books begin there.",
        meaning="Vends or loads of a slot come before its first count, or it was never counted: without an opening nothing can be expected.",
        example="library-1 108: 12 vends before its first count on 2026-08-10 09:00. Nothing can be said of that time.",
        mend="Nothing to mend for the past; from the first count on the slot is reconciled.",
    ),
    Kind(
        code="not-counted", severity="note", about=("machine", "label", "opened_at"),
        words="{machine} {label}: left blank on the sheet of {opened}. Its window stays open.",
        advice="Count it at the next visit; write 0 for an empty slot.",
        meaning="The sheet has a row for the slot without a figure. An empty cell means not counted, and 0 means counted and empty.",
        example="climb-1 B1: left blank on the sheet of 2026-09-07 08:00. Its window stays open.",
        mend="If it was counted, fill in the cell and run again.",
    ),
    Kind(
        code="count-restated", severity="note", about=("machine", "label", "opened_at"),
        words="{machine} {label}: counted {was} by {first}, and {final} by {last}, both for {opened}. The later sheet counts.",
        advice="Keep both sheets: the correction is part of the record.",
        meaning="Two sheets give the same slot at the same moment with different figures. The one later by file name, and by line within a file, counts.",
        example="quay-2 110: counted 9 by inbox/counts-37.csv:4, and 6 by inbox/counts-37-b.csv:2, both for 2026-09-14 09:30.",
        mend="If the earlier sheet was right, take the later one out of inbox/.",
    ),
    Kind(
        code="product-changed-without-count", severity="warning", about=("machine", "label", "opened_at", "closed_at", "changed_at"),
        words="{machine} {label}: {was} became {now} on {changed}, between the counts of {opened} and {closed}. The variance of that window mixes two products.",
        advice="Count and clear a slot when its product changes, and date the change with that visit.",
        meaning="The layout changes a slot's product inside a window, more than the boundary minutes from either count.",
        example="quay-2 114: oat-bar became sea-salt-crisps on 2026-09-10 09:00, between the counts of 2026-09-07 09:30 and 2026-09-14 09:30.",
        mend="Correct the moment of the [[change]], or add the count made at it.",
    ),
)  # fmt: skip
