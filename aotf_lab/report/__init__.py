"""Report: a session's answers on one self-contained HTML page."""

from aotf_lab.report.write import failed_checks, report_html, write_report

__all__ = ["failed_checks", "report_html", "write_report"]
