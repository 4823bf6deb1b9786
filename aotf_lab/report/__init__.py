"""Report: a session's answers on one self-contained HTML page."""

from aotf_lab.report.write import report_html, write_page, write_report

__all__ = ["report_html", "write_page", "write_report"]
