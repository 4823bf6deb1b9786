"""The few pieces of HTML of which receipts are made: every text escaped, no style, no script, no link."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

__all__ = ["bullets", "heading", "page", "paragraph", "table"]


def _text(value: object) -> str:
    """Return ``value`` as the text of an element; control characters, which HTML forbids, become U+FFFD."""
    return escape(
        "".join(c if c in "\t\n" or (ord(c) >= 32 and not 127 <= ord(c) < 160) else "\ufffd" for c in str(value))
    )


def heading(text: str, level: int = 2) -> str:
    """Return a heading of ``level`` 1 to 6.

    >>> heading("a < b")
    '<h2>a &lt; b</h2>'
    """
    return f"<h{level}>{_text(text)}</h{level}>"


def paragraph(text: str) -> str:
    """Return one paragraph."""
    return f"<p>{_text(text)}</p>"


def bullets(lines: Iterable[str]) -> str:
    """Return a list, "" for no lines."""
    items = "".join(f"<li>{_text(line)}</li>" for line in lines)
    return f"<ul>{items}</ul>" if items else ""


def table(caption: str, headings: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Return a table in which the first cell of each row is the heading of that row.

    >>> table("two", ("x", "y"), [(1, 2)])
    '<table><caption>two</caption><thead><tr><th scope="col">x</th><th scope="col">y</th></tr></thead><tbody><tr><th scope="row">1</th><td>2</td></tr></tbody></table>'
    """  # noqa: E501
    top = "".join(f'<th scope="col">{_text(h)}</th>' for h in headings)
    body = "".join(
        f'<tr><th scope="row">{_text(first)}</th>{"".join(f"<td>{_text(c)}</td>" for c in cells)}</tr>'
        for first, *cells in rows
    )
    return f"<table><caption>{_text(caption)}</caption><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>"


def page(title: str, *parts: str) -> str:
    """Return a whole page that needs no other file; ``parts`` are HTML already."""
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head><meta charset="utf-8"><title>{_text(title)}</title>\n'
        "<style>body{font-family:sans-serif;margin:1em auto;max-width:75em;padding:0 1em}"
        "table{border-collapse:collapse;margin:1em 0}caption{text-align:left;font-weight:bold}"
        "th,td{border:1px solid;padding:.2em .5em;text-align:left;vertical-align:top}</style></head>\n"
        f"<body>\n<main>\n{heading(title, 1)}\n" + "\n".join(p for p in parts if p) + "\n</main>\n</body>\n</html>\n"
    )
