"""Finding kinds of matching and prices: which slot a vend came from, and what was paid for it."""

from recon.findings.catalogue.kind import Kind

MATCH_KINDS: tuple[Kind, ...] = (
    Kind(
        code="unmapped-number", severity="error", about=("machine", "bus", "label"),
        words="{machine}: {named} vended {vends} from {opened} to {closed}, and no slot had it then. {guess}",
        advice="Vend that selection once and look for its number in the log, then add or correct it in the layout.",
        meaning=(
            "The log names a bus item number (or a label) that no slot in use had at that time. The vends are kept, and their money counts, "
            "but no slot's stock can answer for them. All unmapped numbers of a machine are settled together, and each piece of evidence "
            "stands in the message with its weight: [how the likeliest slot is found](unmapped.md)."
        ),
        example=(
            "quay-2: number 284 vended 7 times from 2026-09-14 10:02 to 2026-09-20 18:40, and no slot had it then. Likeliest: label 116, "
            "weight 64: it logged nothing from 2026-09-14 09:30 to 2026-09-21 09:30 and is short by just as many (7) [+64]."
        ),
        mend="Correct `bus` of the slot in the layout, or add a [[change]] with its moment if the number changed.",
    ),
    Kind(
        code="number-without-slot", severity="error", about=("machine", "bus"),
        words="{machine}: number {bus} stands on {rows} of count sheets and load slips from {opened} to {closed}, and no slot had it then. They are in no window.",
        advice="Correct the number on the sheet, or give it to its slot in the layout; labels are safer on paper.",
        meaning=(
            "A count or load names its slot by a bus item number alone, and no slot in use had that number at that time. The row is kept, "
            "but what was counted or loaded stands in no slot's window."
        ),
        example="quay-2: number 284 stands on 2 rows of count sheets and load slips from 2026-09-14 09:30 to 2026-09-21 09:30, and no slot had it then. They are in no window.",
        mend="Correct the row at its source, or `bus` in the layout.",
    ),
    Kind(
        code="undefined-number", severity="warning", about=("machine",),
        words="{machine}: {vends} from {opened} to {closed} without a bus number (blank, or FFFFh as the bus says \"undefined\"), worth {worth}.",
        advice="See whether the reader or its settings can report item numbers; until then these vends explain shortages only as a sum.",
        meaning="MDB/ICP lets a machine send FFFFh where it does not tell the item. Such a vend took a unit from some slot, and nobody can say which.",
        example="quay-5: 4 vends from 2026-08-20 11:00 to 2026-08-22 12:31 without a bus number (blank, or FFFFh as the bus says \"undefined\"), worth 7.00.",
        mend="Compare their number with the units that the machine's slots are short in the same windows.",
    ),
    Kind(
        code="silent-slot", severity="warning", about=("machine", "label", "opened_at"),
        words="{machine} {label}: no vend from {opened} to {closed} with {units} in stock, where about {expected_vends} were to be expected at its rate.{also}",
        advice="Vend it once by hand: see that it drops, and which number the log shows.",
        meaning=(
            "A stocked slot sold nothing for so long that chance hardly explains it (less than 1 in 1,000 at its own rate). It may be jammed or "
            "mispriced, its number may be wrong in the layout so that its vends stand unmapped, or its product stays."
        ),
        example="quay-2 116: no vend from 2026-09-14 09:30 to 2026-09-21 09:30 with 8 in stock, where about 7.4 were to be expected at its rate.",
        mend="If unmapped numbers stand beside it, correct the layout. If it is jammed, follow the maker's instructions: switch off and unlock before reaching in, and never tip a machine.",
    ),
    Kind(
        code="missing-price", severity="note", about=("machine", "label", "tender", "filled_from"),
        words="{machine} {label}: {vends} by {tender} without a price, taken as {prices} from {filled_from}.",
        advice="Nothing to do while the layout's prices are those set in the machine.",
        meaning="Cash vends often reach the log without a price. Each is filled from the layout as it stood then, else from the slot's nearest two priced vends if they agree.",
        example="quay-2 110: 31 vends by cash without a price, taken as 1.75 from the layout.",
        mend="Keep the layout's prices and the dates of their changes true: expected cash rests on them.",
    ),
    Kind(
        code="unpriced-vend", severity="warning", about=("machine", "label", "bus", "tender"),
        words="{machine} {named}: {vends} by {tender} without a price that anything settles: {worth} in all.",
        advice="Give the slot its price in the layout, from the day on which it was set.",
        meaning="Neither the log nor the layout gives a price, and the slot's own priced vends do not agree or are too few. The money expected becomes a range.",
        example="library-1 105: 3 vends by cash without a price that anything settles: between 4.50 and 6.00 in all.",
        mend="Add `price` to the slot, or a [[change]] with the day on which it changed.",
    ),
    Kind(
        code="price-differs", severity="warning", about=("machine", "label", "tender", "logged", "asked"),
        words="{machine} {label}: {vends} by {tender} logged at {logged}, where the layout says {asked}; from {opened} to {closed}, {difference} in all.",
        advice="Read the price in the machine, and correct whichever of machine and layout is wrong.",
        meaning="A logged price is not the layout's price for that tender at that time. The logged price counts, for that is what was paid.",
        example="quay-5 A3: 6 vends by card logged at 2.10, where the layout says 2.25; from 2026-09-02 to 2026-09-06, -0.90 in all.",
        mend="Add a [[change]] with the new price and its moment, or set the price in the machine.",
    ),
)  # fmt: skip
