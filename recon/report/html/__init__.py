"""The report as HTML: `report_pages` turns a reconciliation into text, page by page, and touches no disk."""

from recon.report.html.report import report_pages as report_pages

__all__ = ["report_pages"]
