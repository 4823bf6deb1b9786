"""Report: a session's answers as one bench sheet and all details, in self-contained HTML or in PDF."""

from aotf_lab.report.write import report_html, write_page, write_report

__all__ = ["report_html", "write_page", "write_report"]
