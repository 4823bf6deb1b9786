"""A result as rows of name and value under a title, with what is to be said below: as text, and for a notebook."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from aotf_lab.estimation.wrapped import hung, text_lines

__all__ = ["rows_html", "rows_text"]

_ROWS = "aotf-lab-rows"
# No colours: a notebook has its own, light or dark. Left is said because notebooks set cells to the right.
_LOOK = (
    f"<style>.{_ROWS} :is(caption, td) {{text-align: left !important}} "
    f".{_ROWS} :is(th, td) {{vertical-align: top}}</style>"
)


def rows_text(title: str, rows: Iterable[tuple[str, str]], said: Iterable[object] = ()) -> str:
    """Return the title, a row a line with the values in one column, and below them each of ``said``.

    What is wider than ``COLUMNS``, or than the terminal, goes on below: a value under its column.

    >>> print(rows_text("Beam", [("diameter", "1.6 mm"), ("u", "0.1 mm")], ["measured one way"]))
    Beam
      diameter  1.6 mm
      u         0.1 mm
      measured one way
    """
    table = [(name or "", value) for name, value in rows]
    column = 4 + max((len(name) for name, _ in table), default=0)
    lines = [hung(value, f"  {name}".ljust(column), column) for name, value in table]
    return "\n".join([text_lines([title]), *lines, *(text_lines([f"  {s}"]) for s in said)])


def rows_html(title: str, rows: Iterable[tuple[str, str]], said: Iterable[object] = ()) -> str:
    """Return the same as an HTML table with a caption, and a list below it.

    >>> print(rows_html("Beam", [("u", "< 1 mm")]).split("</style>")[1])
    <table><caption>Beam</caption><tr><th>u</th><td>&lt; 1 mm</td></tr></table></div>
    """
    body = "".join(f"<tr><th>{escape(name or '')}</th><td>{escape(value)}</td></tr>" for name, value in rows)
    below = "".join(f"<li>{escape(str(s))}</li>" for s in said)
    table = f"<table><caption>{escape(title)}</caption>{body}</table>"
    return f'<div class="{_ROWS}">{_LOOK}{table}' + (f"<ul>{below}</ul>" if below else "") + "</div>"
