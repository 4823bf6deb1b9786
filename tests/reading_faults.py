"""Damage to good raw files: what may befall a file, in words that can be committed and done again.

A case is the name of a base and a list of steps such as ``flip 37 6b`` or ``unit 1 kHz``; ``damaged``
carries the steps out, ``random_case`` draws them from a seed.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace

from tests.reading_faults_bases import BASES, EXPONENTS, Base, Style, render

__all__ = ["KINDS", "LOCALES", "Case", "damaged", "random_case"]

LOCALES: dict[str, Style] = {
    "comma_point": Style(",", "."),
    "semicolon_point": Style(";", "."),
    "semicolon_comma": Style(";", ","),
    "semicolon_comma_grouped": Style(";", ",", "."),
    "semicolon_point_grouped": Style(";", ".", ","),
    "tab_comma": Style("\t", ",", end="\r\n"),
    "tab_comma_thin": Style("\t", ",", "\u202f"),
    "bar_point": Style("|", "."),
    "quoted_comma": Style(",", ",", quoted=True),
    "quoted_grouped": Style(",", ".", ",", quoted=True),
    "comma_comma": Style(",", ","),
    "utf16_be": Style("\t", ".", encoding="utf-16-be", mark=b"\xfe\xff"),
    "latin1": Style(";", ",", encoding="latin-1", end="\r"),
}
"""Name -> manner of writing in which the same numbers are saved again."""

KINDS = ("drop", "duplicate", "truncate", "reorder", "flip", "delete", "insert", "locale", "unit", "paste")


@dataclass(frozen=True)
class Case:
    """A damaged file: base, steps, its bytes, the style in which they are written, and the first byte touched."""

    base: Base
    steps: tuple[str, ...]
    content: bytes
    kinds: tuple[str, ...]
    touched: int | None = None


def damaged(name: str, steps: tuple[str, ...] | list[str]) -> Case:
    """Return the case that the steps make of the base ``name``."""
    base, units = BASES[name], {}
    for step in steps:
        word, *rest = step.split()
        if word == "locale":
            style = LOCALES[rest[0]]
            base = replace(base, style=replace(style, units=base.style.units))
        elif word == "unit":
            units[int(rest[0])] = rest[1]
    content, touched = render(base, units), None
    for step in steps:
        word, *rest = step.split()
        if word in ("flip", "insert", "delete", "truncate"):
            at = int(rest[0])
            touched = at if word == "flip" and len(steps) == 1 else None
            content = _bytes_changed(content, word, at, bytes.fromhex(rest[1]) if len(rest) > 1 else b"")
        elif word not in ("locale", "unit"):
            content = _lines_changed(content, base.style, word, rest)
    return Case(base, tuple(steps), content, tuple(dict.fromkeys(s.split()[0] for s in steps)), touched)


def _bytes_changed(content: bytes, word: str, at: int, new: bytes) -> bytes:
    if word == "truncate":
        return content[:at]
    return content[:at] + new + content[at + (0 if word == "insert" else 1) :]


def _lines_changed(content: bytes, style: Style, word: str, rest: list[str]) -> bytes:
    end = style.end.encode(style.encoding)
    body = content.removeprefix(style.mark)
    lines = body.split(end)
    last = lines.pop()
    if not lines:
        return content
    first = min(int(rest[0]), len(lines) - 1)
    if word == "drop":
        del lines[first]
    elif word == "duplicate":
        lines.insert(int(rest[1]), lines[first])
    elif word == "reorder":
        lines.insert(int(rest[1]), lines.pop(first))
    elif word == "paste":
        lines[first] = render_line(lines[first], style, rest[1])
    else:
        raise ValueError(word)
    return content[: len(content) - len(body)] + end.join([*lines, last])


def render_line(line: bytes, style: Style, how: str) -> bytes:
    """Return one line as if pasted from a file of another land: its points and commas exchanged, or its separator."""
    try:
        text = line.decode(style.encoding)
    except UnicodeDecodeError:
        return line
    table = {
        "marks": {ord("."): ",", ord(","): "."},
        "points": {ord(","): "."},
        "commas": {ord("."): ","},
        "tabs": {ord(style.separator): "\t"},
        "semicolons": {ord(style.separator): ";"},
    }[how]
    return text.translate(table).encode(style.encoding)


_TELLING = b"0123456789.,;:-+eE \t\r\n\"'?#/()kKmMuUnV\x00\xa0\xb2\xff"


def random_case(seed: int) -> Case:
    """Return the case of a seed: one step in most, up to three in the others."""
    dice = random.Random(seed)
    name = dice.choice(sorted(BASES))
    steps: list[str] = []
    for _ in range(dice.choice((1, 1, 1, 2, 3))):
        content = damaged(name, steps).content
        steps += _drawn(dice, damaged(name, steps).base, content)
    order = {"locale": 0, "unit": 0}
    return damaged(name, sorted(steps, key=lambda s: order.get(s.split()[0], 1)))


def _drawn(dice: random.Random, base: Base, content: bytes) -> list[str]:
    kind = dice.choice((*KINDS, "flip", "flip", "truncate"))
    size = max(1, len(content))
    count = max(1, content.count(base.style.end.encode(base.style.encoding)))
    if kind in ("flip", "insert"):
        at = dice.randrange(size)
        new = dice.choice(_TELLING) if dice.random() < 0.6 else dice.randrange(256)
        if kind == "flip" and dice.random() < 0.3:
            new = (content[at : at + 1] or b"0")[0] ^ (1 << dice.randrange(8))
        return [f"{kind} {at} {new:02x}"]
    if kind in ("delete", "truncate"):
        return [f"{kind} {dice.randrange(size)}"]
    if kind == "locale":
        return [f"locale {dice.choice(sorted(LOCALES))}"]
    if kind == "unit":
        column = dice.randrange(len(base.columns))
        same = [u for u, (k, _) in EXPONENTS.items() if k == base.columns[column].kind]
        return [f"unit {column} {dice.choice(same)}"] if same else []
    first, second = dice.randrange(count), dice.randrange(count)
    if kind == "paste":
        return [f"paste {first} {dice.choice(('marks', 'points', 'commas', 'tabs', 'semicolons'))}"]
    return [f"drop {first}"] if kind == "drop" else [f"{kind} {first} {second}"]
