"""Results of the driver as a table of names and values, for a notebook."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from aotf_lab.estimation.checks import Check

__all__ = ["named_rows_html"]


def named_rows_html(rows: Iterable[tuple[str, str]], checks: Iterable[Check]) -> str:
    """Return ``rows`` of name and value as an HTML table, and each failed check below it."""
    body = "".join(f"<tr><th>{escape(name)}</th><td>{escape(text)}</td></tr>" for name, text in rows)
    return f"<table>{body}</table>" + "".join(f"<p>{escape(str(c))}</p>" for c in checks if not c.passed)
