"""Finding kinds of the ledger: files that were taken in once and are no longer what they were."""

from recon.findings.catalogue.kind import Kind

HISTORY_KINDS: tuple[Kind, ...] = (
    Kind(
        code="file-changed", severity="warning", about=("file", "detail"),
        words="{file} is not what was taken in on {when} (ledger entry {entry}): {difference}. What is there now counts.",
        advice="If it was changed on purpose, accept this and say by whom and why. If not, put back the file: the ledger keeps it.",
        meaning=(
            "A file of this name was taken in earlier with another content, which the ledger keeps. Figures that rested on it may have changed. "
            "Where every earlier line is still there and others came after it, the file only grew, and this is a note."
        ),
        example="inbox/counts-38.csv is not what was taken in on 2026-09-21 20:15 (ledger entry 31): 1 line of it gone or changed, 1 line new. What is there now counts.",
        mend="A count is better put right by a later sheet, or by `recon decide ... correct`: both leave the first one to be seen. Compare the file with the original below ledger/originals.",
    ),
    Kind(
        code="file-gone", severity="warning", about=("file", "detail"),
        words="{file} was taken in on {when} (ledger entry {entry}) and is no longer in inbox/: its rows count no more.",
        advice="Put it back; the ledger keeps it. If it did not belong there, accept this and say why.",
        meaning="A file that earlier runs took in has left the inbox. A run reckons with what is there, so its vends, counts or money are missing from the figures now.",
        example="inbox/sales-36.csv was taken in on 2026-09-07 20:02 (ledger entry 18) and is no longer in inbox/: its rows count no more.",
        mend="Leave files in inbox/ once they are taken in: they are the books. A file under another name with the same content is not missed.",
    ),
)  # fmt: skip
