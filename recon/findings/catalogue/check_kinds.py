"""The kinds that `recon check` tells: what can be wrong with settings, layouts, products and descriptions."""

from typing import Final

from recon.findings.catalogue.kind import Kind

_KINDS = (
    Kind(
        code="duplicate-label",
        severity="error",
        about=("machine", "label"),
        words="{found} stands here a second time, after {other}.",
        advice="Remove one of the two, or give this one the label that is printed at its slot.",
        meaning=(
            "A label names one slot of a machine. With two slots of one label no count and no vend can be "
            "put to either of them. In a layout kept as a table, two rows of a label need two different "
            "times."
        ),
        example=(
            "layouts/quay-2.toml:21:1  duplicate-label  label 110 stands here a second time, after line 8. "
            "Remove one of the two, or give this one the label that is printed at its slot."
        ),
        mend=(
            "Look at the machine's front: every slot has its own label. Correct the label, or delete the "
            "copy."
        ),
        stops_run=True,
    ),
    Kind(
        code="duplicate-number",
        severity="error",
        about=("machine", "bus", "label", "other"),
        words="label {label} has bus number {bus} from {since}, which label {other} already has ({where}).",
        advice="Vend the slot once and look for its own number in the sales log, or remove one of the two.",
        meaning=(
            "Two slots in use at the same time have the same number on the payment bus, so a sales log "
            "cannot tell their vends apart, and the stock of both would be wrong."
        ),
        example=(
            "layouts/quay-2.toml:31:1  duplicate-number  label 114 has bus number 272 from 2026-08-03 "
            "07:00, which label 110 already has (line 9). Vend the slot once and look for its own number "
            "in the sales log, or remove one of the two."
        ),
        mend=(
            "Make one test vend at each of the two, with the door shut, as a customer does, and read the "
            "numbers in the sales log. Where a machine truly sends one number for two slots (linked "
            "motors), write them as one slot with the capacity of both."
        ),
        stops_run=True,
    ),
    Kind(
        code="number-out-of-range",
        severity="error",
        about=("machine", "label", "bus"),
        words="label {label} has bus number {bus} ({origin}); expected a number from 0 to 65534.",
        advice="Write the number as the sales log shows it, or correct the numbering rule.",
        meaning=(
            "The item number on the payment bus (MDB/ICP) has 16 bits, and FFFFh (65535) means undefined. "
            "A number outside 0 to 65534 can never come from the machine."
        ),
        example=(
            "layouts/quay-2.toml:9:1  number-out-of-range  label 110 has bus number 65536 (as written); "
            "expected a number from 0 to 65534. Write the number as the sales log shows it, or correct the "
            "numbering rule."
        ),
        mend="Correct the number, or the offset or first number of the rule that gives it.",
        stops_run=True,
    ),
    Kind(
        code="rule-disagrees",
        severity="error",
        about=("machine", "label", "bus"),
        words="label {label} has bus number {bus}, but the rule {rule} gives {expected}.",
        advice="Find out which is right by one vend; the written number counts until then.",
        meaning=(
            "The layout names a numbering rule and this slot also names its number, and they differ. One "
            "of them is wrong: a slip in the number, or a rule that does not hold for the whole machine."
        ),
        example=(
            "layouts/quay-2.toml:9:1  rule-disagrees  label 110 has bus number 273, but the rule hex-label "
            "gives 272. Find out which is right by one vend; the written number counts until then."
        ),
        mend=(
            "Correct or delete the number where the rule is right. Where the rule does not hold for every "
            "slot, delete `numbering` and write each number."
        ),
    ),
    Kind(
        code="between-numbers",
        severity="warning",
        about=("machine", "label", "bus"),
        words=(
            "label {label} has bus number {bus}, which is {parity}, on double-width tray {tray}, where "
            "{agree} of {all} numbers are {expected}."
        ),
        advice="On such a tray only every other number exists: compare it with the sales log.",
        meaning=(
            "On a double-width tray every slot takes two numbers, so the numbers in use are all even or "
            "all odd (common practice, no source). One of the other kind is most likely a slip by one, and "
            "its vends would never find their slot."
        ),
        example=(
            "layouts/quay-2.toml:27:1  between-numbers  label 112 has bus number 275, which is odd, on "
            "double-width tray 1, where 4 of 5 numbers are even. On such a tray only every other number "
            "exists: compare it with the sales log."
        ),
        mend="Correct the number, or give the slot `pitch = 1` where the tray is not double-width after all.",
    ),
    Kind(
        code="coupled-slots",
        severity="warning",
        about=("machine", "label", "other"),
        words=(
            "label {label} has bus number {bus}, which is the second number of label {other} ({number}, double "
            "width) on tray {tray}."
        ),
        advice="Only one of the two can vend under it: compare both with the sales log, or correct the pitch.",
        meaning=(
            "A double-width slot (`pitch = 2`) turns two motors for one selection. It reports under the lower "
            "number alone, and the next one never comes (common practice, no source). Here another slot in use "
            "on the same tray has that next number, so both would vend it: a slip in a number, a slot that is "
            "not double-width, or a motor that is coupled on paper and not in the machine."
        ),
        example=(
            "layouts/quay-2.toml:27:1  coupled-slots  label 111 has bus number 273, which is the second number "
            "of label 110 (272, double width) on tray 1. Only one of the two can vend under it: compare both "
            "with the sales log, or correct the pitch."
        ),
        mend=(
            "Make one test vend at each of the two, with the door shut and your hands out of the machine, and "
            "read the numbers in the log. Give the wide slot `pitch = 1` where it is not double-width, and take "
            "the product out of a slot that has no motor of its own."
        ),
    ),
    Kind(
        code="missing-number",
        severity="warning",
        about=("machine", "label"),
        words="label {label} is in use from {since} without a bus number: {reason}.",
        advice="Write its number, or name a numbering rule that gives one.",
        meaning=(
            "The slot has a product but no number on the payment bus, so no vend in a sales log that names "
            "numbers can be put to it, and its stock will seem never to sell."
        ),
        example=(
            "layouts/quay-2.toml:19:1  missing-number  label 112 is in use from 2026-08-03 07:00 without a "
            "bus number: no numbering rule is named. Write its number, or name a numbering rule that gives "
            "one."
        ),
        mend=(
            "Write `bus`, or `numbering` at the top of the layout. It may stay as it is where the sales "
            "logs of the machine name labels."
        ),
    ),
    Kind(
        code="missing-price",
        severity="warning",
        about=("machine", "label"),
        words="label {label} is in use from {since} without a price.",
        advice='Write the price as it is set in the machine; a free slot has price = "0".',
        meaning=(
            "The slot has a product but no price. A vend that comes without its price cannot be filled in "
            "from the layout, and what is missing cannot be put in money."
        ),
        example=(
            "layouts/quay-2.toml:19:1  missing-price  label 112 is in use from 2026-08-03 07:00 without a "
            'price. Write the price as it is set in the machine; a free slot has price = "0".'
        ),
        mend="Read the price at the machine and write it with the date from which it holds.",
    ),
    Kind(
        code="price-off-step",
        severity="warning",
        about=("machine", "label", "key"),
        words="{key} {found} of label {label} is no multiple of the price step {expected}.",
        advice="The controller cannot hold such a price: read the one it has, or correct price_step.",
        meaning=(
            "A controller prices in whole steps (the scaling factor of MDB/ICP). A price between two steps "
            "cannot have been set, so the machine asks for another one than the layout says."
        ),
        example=(
            "layouts/quay-2.toml:13:1  price-off-step  price 1.77 of label 110 is no multiple of the price "
            "step 0.05. The controller cannot hold such a price: read the one it has, or correct "
            "price_step."
        ),
        mend="Write the price that the machine shows when the slot is selected.",
    ),
    Kind(
        code="par-over-capacity",
        severity="warning",
        about=("machine", "label"),
        words="label {label} has par {found}, but a capacity of {expected}.",
        advice="Correct one of the two: a slot cannot be filled above its capacity.",
        meaning=(
            "Par is what a slot is filled up to, capacity what fits. Filling lists would ask for too much."
        ),
        example=(
            "layouts/quay-2.toml:15:1  par-over-capacity  label 110 has par 12, but a capacity of 10. "
            "Correct one of the two: a slot cannot be filled above its capacity."
        ),
        mend=(
            "Count what fits into the slot and write it as `capacity`; leave `par` out where it is the same."
        ),
    ),
    Kind(
        code="numbering-differs",
        severity="warning",
        about=("machine", "label", "bus"),
        words=(
            "label {label} has bus number {bus}, but {expected} on {where}, a layout of the same labels with "
            "{equal} equal numbers."
        ),
        advice="Vend the slot once and look for its number in the sales log, then correct the one that is wrong.",
        meaning=(
            "Two machines with the same labels and the same double-width trays, of which at least 3 numbers and "
            "most of those compared are equal, are most likely of one make and numbered alike. Here they differ "
            "in one number. Layouts are compared as they stand after their last change; the number that fewer "
            "machines have is told, and of two alone the one whose file comes later. A number that goes against "
            "its own layout's rule is told as `rule-disagrees` instead."
        ),
        example=(
            "layouts/quay-5.toml:27:1  numbering-differs  label 114 has bus number 277, but 276 on quay-2, a "
            "layout of the same labels with 23 equal numbers. Vend the slot once and look for its number in the "
            "sales log, then correct the one that is wrong."
        ),
        mend=(
            "Correct the number. Where the machines truly differ there, both may stay: the warning then does not "
            "fail a check, unless `--fail-on warning` asks for it."
        ),
    ),
    Kind(
        code="price-varies",
        severity="note",
        about=("machine", "label", "product"),
        words="product {product} costs {found} at label {label}, but {expected} on {where}.",
        advice="Leave it where it is meant; else set the price in the machine and date it in the layout.",
        meaning=(
            "The same product has different cash prices on machines of one route, as the layouts stand after "
            "their last change. Nothing is said where a reason can be seen: the slot is free, the machine has "
            "another currency, its price step cannot make the other price, or most of its products (3 or more) "
            "differ the same way, so that it has a price level of its own. What a card pays on top is not "
            "compared."
        ),
        example=(
            "layouts/quay-5.toml:33:1  price-varies  product oat-bar costs 1.50 at label 112, but 1.75 on quay-2 "
            "and 2 more. Leave it where it is meant; else set the price in the machine and date it in the layout."
        ),
        mend=(
            "If a rise was forgotten at one machine, set it there at the next visit and write a [[change]] with "
            "that date. A price that is meant to differ needs nothing: a note fails no check by default."
        ),
    ),
    Kind(
        code="unknown-product",
        severity="warning",
        about=("machine", "label", "found"),
        words="label {label} has product {found}, which products.csv does not have; expected {expected}.",
        advice="Correct the id, or add the product to products.csv.",
        meaning=(
            "The layout names a product that the list of products does not have, so its cost is not known."
        ),
        example=(
            "layouts/quay-2.toml:12:1  unknown-product  label 110 has product oat-baar, which products.csv "
            "does not have; expected oat-bar. Correct the id, or add the product to products.csv."
        ),
        mend="Correct the id where it is a slip, or add a line to products.csv.",
    ),
    Kind(
        code="unknown-key",
        severity="error",
        about=("file", "key"),
        words="{key} is not a key or column known here; expected {expected}.",
        advice="Correct or remove it: what is not known would be ignored, and you would not notice.",
        meaning="A key of a TOML file or a column of a CSV table has no meaning here, most often for a slip.",
        example=(
            "layouts/quay-2.toml:22:1  unknown-key  prise is not a key or column known here; expected "
            "price. Correct or remove it: what is not known would be ignored, and you would not notice."
        ),
        mend=(
            "Use the nearest known name that the sentence gives, or look it up in the reference of the "
            "route folder."
        ),
        stops_run=True,
    ),
    Kind(
        code="bad-value",
        severity="error",
        about=("file", "key"),
        words="{key}: found {found}, expected {expected}.",
        advice="Correct it there.",
        meaning=(
            "A value is missing, is of another kind than its key needs, lies outside what is possible, or "
            "the file as a whole cannot be read."
        ),
        example=(
            "layouts/quay-2.toml:13:1  bad-value  price: found 1.755, expected an amount with at most 2 "
            "decimal digits (CAD). Correct it there."
        ),
        mend="Write what was expected. The reference of the route folder has an example of every key.",
        stops_run=True,
    ),
    Kind(
        code="change-out-of-order",
        severity="error",
        about=("machine", "label", "found"),
        words="the change to label {label} is dated {found}; expected {expected}.",
        advice="Correct the date, or put the changes of a slot in the order in which they were made.",
        meaning=(
            "The changes of one slot have to stand in the order of their dates, none before the layout "
            "itself and no two at one moment: otherwise it is not certain what held when."
        ),
        example=(
            "layouts/quay-2.toml:41:1  change-out-of-order  the change to label 110 is dated 2026-09-01 "
            "09:30; expected later than 2026-09-14 09:30, the change before it in line 35. Correct the "
            "date, or put the changes of a slot in the order in which they were made."
        ),
        mend="Correct the date. Where two changes were made on one visit, write them as one.",
        stops_run=True,
    ),
    Kind(
        code="change-unknown-label",
        severity="error",
        about=("machine", "label"),
        words="a change names label {label}, which the layout does not have; expected {expected}.",
        advice="Correct the label, or add a slot of that label.",
        meaning=(
            "A change belongs to a slot of the same layout. This one belongs to none and would have no "
            "effect."
        ),
        example=(
            "layouts/quay-2.toml:43:1  change-unknown-label  a change names label 11O, which the layout "
            "does not have; expected 110. Correct the label, or add a slot of that label."
        ),
        mend=(
            "Correct the label. A slot added later is a [[slot]] without a product, put in use by the change."
        ),
        stops_run=True,
    ),
    Kind(
        code="duplicate-machine",
        severity="error",
        about=("machine", "found"),
        words="machine {machine} is laid out in {other} and again in {found}.",
        advice="Keep one file for each machine: move later changes into it as changes with their dates.",
        meaning="Two layout files name the same machine, so it is not certain which of them holds.",
        example=(
            "layouts/quay-2b.toml:1:1  duplicate-machine  machine quay-2 is laid out in "
            "layouts/quay-2.toml and again in layouts/quay-2b.toml. Keep one file for each machine: move "
            "later changes into it as changes with their dates."
        ),
        mend="Delete or rename the copy. A backup may stay if its name does not end in .toml or .csv.",
        stops_run=True,
    ),
    Kind(
        code="unknown-timezone",
        severity="error",
        about=("file", "found"),
        words="time zone {found} is not in the IANA list; expected {expected}.",
        advice="Write the name of the place whose clock the machine keeps, in the form America/Halifax.",
        meaning="Times in the files are local; without a known zone they cannot be put in order.",
        example=(
            'route.toml:3:1  unknown-timezone  time zone "Halifax" is not in the IANA list; expected '
            "America/Halifax. Write the name of the place whose clock the machine keeps, in the form "
            "America/Halifax."
        ),
        mend=(
            "Use a name of the IANA list. Abbreviations such as AST are not enough: they lack the clock "
            "changes."
        ),
        stops_run=True,
    ),
    Kind(
        code="unknown-currency",
        severity="error",
        about=("file", "found"),
        words="currency {found} is not in the list of ISO 4217; expected {expected}.",
        advice="Write the code of three capital letters.",
        meaning="The currency says how many decimal digits an amount has (CAD 2, JPY 0, KWD 3).",
        example=(
            'route.toml:2:1  unknown-currency  currency "CDA" is not in the list of ISO 4217; expected '
            "CAD. Write the code of three capital letters."
        ),
        mend="Use the code of ISO 4217. Codes without a minor unit (metals, test codes) are not taken.",
        stops_run=True,
    ),
)

CHECK_KINDS: Final[dict[str, Kind]] = {kind.code: kind for kind in _KINDS}
"""Code to kind, in the order of the docs."""
