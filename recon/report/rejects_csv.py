"""rejects.csv: the rows that could not be used, with file, line, reason and the line as it stands in the file."""

from recon.model.reconciliation import Reconciliation
from recon.report.tables import rejects_table
from recon.report.tamed import tamed_column


def rejects_csv(done: Reconciliation) -> str:
    """The rejects as CSV text with a header. A text that a spreadsheet could run is preceded by an apostrophe."""
    return (
        rejects_table(done)
        .with_columns(tamed_column(name) for name in ("file", "reason", "text"))
        .write_csv(quote_style="necessary")
    )
