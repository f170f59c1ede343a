"""Finding kinds of the intake: what the files of the inbox are not, or say twice."""

from recon.findings.catalogue.kind import Kind

INTAKE_KINDS: tuple[Kind, ...] = (
    Kind(
        code="unreadable-file", severity="error", about=("file",),
        words="{file} could not be read: {detail}.",
        advice="Save it again as text or CSV from where it came, or take it out of inbox/.",
        meaning="A file in inbox/ is not text that can be split into rows: it is empty, binary, damaged, or cannot be opened. Nothing of it is used.",
        example="inbox/sales-38.csv could not be read: byte 3 is NUL: this is no text file, whatever its name says.",
        mend="Export the file again. If it does not belong to the route, move it out of inbox/.",
    ),
    Kind(
        code="unknown-format", severity="error", about=("file",),
        words="{file} was not taken in: {detail}.",
        advice="Add or mend a description in sources/, then run again.",
        meaning=(
            "The file is a table, but which column is which is not known: no description in sources/ speaks for it, the one that does names "
            "a column that is not there, two speak for it, or its dates can be read two ways. All its rows stand in rejects.csv."
        ),
        example="inbox/machine-notes.csv was not taken in: no description in sources/ speaks for it and its columns are not in our own field names.",
        mend="Write a description (see docs/route-folder.md), or give the columns our own field names, with which no description is needed.",
    ),
    Kind(
        code="card-number-present", severity="error", about=("file",),
        words="{file}:{row}  {detail}. The file was not taken in, and nothing of it is kept.",
        advice="Have the export cut card numbers to their last four digits, delete this file, and export it again.",
        meaning=(
            "The file holds at least one full card number: 12 to 19 digits that pass the check of ISO/IEC 7812. Keeping it would put every "
            "copy of the books under the card industry's rules (PCI DSS), so none of its rows is used and none of its text is written anywhere."
        ),
        example='inbox/sales-39.csv:12  column "Card" holds a full card number ending in 1111. The file was not taken in, and nothing of it is kept.',
        mend="Ask whoever runs the export to mask card numbers. Delete the file also from mail and downloads: it should not lie about.",
    ),
    Kind(
        code="lines-passed-over", severity="note", about=("file",),
        words="{file}: {passed}.",
        advice="Nothing to do where these are titles, totals or remarks. If one is a row, mend it so that it reads as one.",
        meaning=(
            "Exports and sheets carry lines that are no rows: titles above the header, the header once more, totals, remarks below the table, "
            "sheets beside the one with the table, and lines of a drafted count sheet that nobody filled in. They are not rows of the account, and are told here so that none goes unseen. What could be a row is rejected instead."
        ),
        example='inbox/sales-38.csv: 3 lines are no rows and were passed over (1, 2, 140), the first "Sales by machine".',
        mend="A row that was taken for a total begins with a word for one and has neither time nor machine: give it these.",
    ),
    Kind(
        code="encoding-assumed", severity="note", about=("file",),
        words="{file}: {detail}.",
        advice="Look at that word. If it is spelled wrongly, give the file's `encoding` under [table] in its description.",
        meaning=(
            "The file is not UTF-8, has no byte order mark and no description gives its encoding. Its letters beyond A to Z were read as Windows-1252. "
            "Figures, times and our own words do not depend on it; a name in the file may be spelled wrongly."
        ),
        example='inbox/counts-38.csv: read as Windows-1252, for it is not UTF-8 and no description says otherwise: first "Café" on line 3.',
        mend="Save the file as UTF-8 where it is made, or describe it.",
    ),
    Kind(
        code="row-mended", severity="note", about=("file", "other"),
        words="{file}: {rows} that could not be used are mended in {other}, and count from there.",
        advice="Nothing to do. The file may stay as it is; keep the mended rows in inbox/ beside it.",
        meaning="Lines of rejects.csv were mended and put into inbox/. They are read in the format of the file from which they came, whose own rows stay rejected.",
        example="inbox/counts-38.csv: 2 rows that could not be used are mended in inbox/rejects.csv, and count from there.",
        mend="If the file itself is mended later, take the lines out of the mended rejects file.",
    ),
    Kind(
        code="no-rows", severity="note", about=("file",),
        words="{file} names its columns and holds no rows.",
        advice="Nothing to do where nothing was to be told; otherwise export or fill it in again.",
        meaning="The file was understood, but no row stands below its header: an export of a time without vends, or a sheet that was never filled in.",
        example="inbox/loads-2026-38.csv names its columns and holds no rows.",
        mend="Fill it in, or take it out of inbox/.",
    ),
    Kind(
        code="rejected-row", severity="error", about=("file", "row"),
        words="{file}:{row}  {detail}. The row is in rejects.csv.",
        advice="Mend the value in the file, or explain the word in the description, then run again.",
        meaning="One row could not be used: a value does not read, is out of range, or something that must be there is missing. No other row is touched.",
        example='inbox/counts-38.csv:14  counted "ten" is not a whole number. The row is in rejects.csv.',
        mend="Correct the cell at its source and put the file into inbox/ again. A row that can never be used stays here until it leaves the file.",
    ),
    Kind(
        code="duplicate-row", severity="note", about=("file", "other"),
        words="{file}: {rows} already given by {other}, counted once.{same_bytes}",
        advice="Nothing to do where exports overlap. A whole file given twice can leave inbox/.",
        meaning=(
            "Two files hold the same rows. Vends with a reference count once for each reference; rows without one count as often as the "
            "file that has them most often. A file that is byte for byte another is a warning, an overlap only a note."
        ),
        example="inbox/sales-39.csv: 12 rows already given by inbox/sales-38.csv, counted once.",
        mend="Overlapping exports are safe and better than gaps.",
    ),
    Kind(
        code="vend-changed", severity="note", about=("machine", "detail", "first"),
        words="{machine}: {detail} ({first}, then {last}). The newest state counts, once.",
        advice="Nothing to do. Where the money was given back by hand, note it with the collection.",
        meaning=(
            "Two exports tell of the same vend (same machine, reference, number and tender) in different states: it was refunded, cancelled or "
            "repriced in between. The state in the export that reaches furthest in time counts; the older row is counted as a duplicate."
        ),
        example='quay-2: reference "T-1042" was vended and is refunded (inbox/sales-38.csv:40, then inbox/sales-39.csv:7). The newest state counts, once.',
        mend="Nothing. If the newer row is wrong, ask whoever runs the export.",
    ),
    Kind(
        code="reference-reused", severity="warning", about=("machine", "reference"),
        words='{machine}: reference "{reference}" stands for {vends} that differ ({places}). All are counted.',
        advice="Look at both rows: if it is one vend, remove the wrong row; if not, ask where the references come from.",
        meaning="The same reference of the same machine names two vends with another time, number, price, tender or outcome. Both are counted, for both are in the log.",
        example='quay-2: reference "T-1042" stands for 2 vends that differ (inbox/sales-38.csv:40, inbox/sales-39.csv:7). All are counted.',
        mend="A reader that was reset may begin its references again. If one row is a correction of the other, keep the later.",
    ),
    Kind(
        code="label-repaired", severity="note", about=("file", "machine", "detail"),
        words="{file}: {rows} of {machine} with {detail}. The layout has no such label, and only that one can have become it.",
        advice="Check one of the rows. If the label is another, give the file its labels as text.",
        meaning=(
            "Spreadsheets turn labels into numbers and days: 07 into 7, 110 into 110.0 or 1.10E+02, 3-1 into 03-Jan. A label that the machine's "
            "layout does not have is read as the one label of that layout that can have become it. Where several can, the row is not mended."
        ),
        example='inbox/counts-38.csv: 4 rows of quay-2 with label "7" read as 07. The layout has no such label, and only that one can have become it.',
        mend="Format the column of labels as text before anything is typed or pasted into it.",
    ),
    Kind(
        code="ambiguous-time", severity="note", about=("file", "machine"),
        words="{file}: {rows} of {machine} at a local time that happened twice, first {when}: the clocks were set back. The earlier moment was taken.",
        advice="Export in UTC, or with the offset in the time, if the hour matters.",
        meaning="When clocks are set back one hour of local time happens twice. A file that gives local times without an offset cannot say which was meant.",
        example="inbox/sales-44.csv: 3 rows of quay-2 at a local time that happened twice, first 2026-11-01 01:12: the clocks were set back. The earlier moment was taken.",
        mend="Nothing is lost; a vend may stand an hour early. It matters only where a count or collection fell into that hour.",
    ),
    Kind(
        code="nonexistent-time", severity="warning", about=("file", "machine"),
        words="{file}: {rows} of {machine} at a local time that never happened, first {when}: the clocks were set forward. They were moved on by the gap.",
        advice="Check the clock and zone of what wrote the file.",
        meaning="When clocks are set forward an hour of local time is left out. A time inside it means that the clock of the writer was not changed, or that its zone is another.",
        example="inbox/sales-10.csv: 2 rows of quay-2 at a local time that never happened, first 2026-03-08 02:30.",
        mend="Set timezone in the description to the zone in which the file is written.",
    ),
    Kind(
        code="zone-suspect", severity="warning", about=("file",),
        words=(
            "{file}: its {vends} fall into hours in which these machines hardly sell ({night} % of them between 00:00 and 06:00). Moved by "
            "{offset} h they would fit: {fit} % alike with the machines' other hours, against {fit_now} % as they stand."
        ),
        advice="Set timezone in the description that speaks for it to the zone in which the export is written, often UTC, and run again.",
        meaning=(
            "The hours of day of an export's vends do not fit those of the same machines in all other files, and fit them well with an offset: its "
            "times are probably in another zone than its description, or the machine's layout, says. Nothing was moved."
        ),
        example="inbox/sales-39.csv: its 212 vends fall into hours in which these machines hardly sell (41 % of them between 00:00 and 06:00). Moved by +9 h they would fit: 97 % alike with the machines' other hours, against 38 % as they stand.",
        mend="Times off by hours put vends into the wrong window: counts and collections then seem short on one side and over on the other.",
    ),
    Kind(
        code="future-time", severity="error", about=("file", "row"),
        words='{file}:{row}  time "{detail}" is after this run. The row is in rejects.csv.',
        advice="Check the date on the sheet or the clock of the reader, mend it and run again.",
        meaning="A row is dated after the moment of the run, so it cannot have happened: a mistyped year, or a clock that runs ahead.",
        example='inbox/sales-39.csv:88  time "2099-09-20T10:00:00" is after this run. The row is in rejects.csv.',
        mend="Correct the time at its source.",
    ),
    Kind(
        code="unknown-machine", severity="error", about=("machine",),
        words='machine "{machine}" has no layout{near}: {rows} of it kept, and no slot can be told for them.',
        advice="Add a layout for it, or give its name under [machines] in the description.",
        meaning="A log, sheet or slip speaks of a machine that the route does not know. Its rows are kept and counted, but there are no slots to match them to.",
        example='machine "annex-9" has no layout: 34 rows of it kept, and no slot can be told for them.',
        mend="A new machine needs a layout. A machine that the export calls by another name needs a line under [machines].",
    ),
)  # fmt: skip
