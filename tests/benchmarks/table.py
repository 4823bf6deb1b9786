"""Write a benchmark's result as a Markdown table into ``results/`` and print it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

RESULTS = Path(__file__).resolve().parent / "results"


def markdown(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Return a Markdown table."""
    lines = ["| " + " | ".join(heads) + " |", "|" + "---|" * len(heads)]
    lines += ["| " + " | ".join(map(str, row)) + " |" for row in rows]
    return "\n".join(lines)


def write_table(name: str, heads: Sequence[str], rows: Iterable[Sequence[object]], about: str) -> None:
    """Write ``results/name.md`` with the text ``about`` above the table."""
    text = f"# {name}\n\n{about.strip()}\n\n{markdown(heads, rows)}\n"
    (RESULTS / f"{name}.md").write_text(text, encoding="utf-8")
    print(text)
