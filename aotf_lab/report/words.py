"""Numbers in words: value(uncertainty), intervals, causes."""

from __future__ import annotations

import re

from uncertainties import UFloat

from aotf_lab.estimation import variance_shares
from aotf_lab.planning import shown

__all__ = ["causes", "clipped", "count", "joined", "light", "measured", "of_line", "typeset"]


def measured(value: UFloat | float | None, unit: str = "") -> str:
    """Return ``value(uncertainty) unit``, or a dash when there is no value.

    >>> from uncertainties import ufloat
    >>> measured(ufloat(64.2285, 0.0023), "MHz")
    '64.2285(23) MHz'
    """
    if value is None:
        return "–"
    return f"{shown(value)} {unit}".strip()


def causes(value: UFloat | float, most: int = 3) -> str:
    """Return the largest causes of a value's variance with their share."""
    if not isinstance(value, UFloat):
        return ""
    shares = list(variance_shares(value).items())[:most]
    return ", ".join(f"{name} {100 * share:.0f} %" for name, share in shares if share >= 0.005)


def light(percent: float | None) -> str:
    """Return a loss of light in words.

    >>> light(0.031), light(12.3)
    ('less than 0.1 %', '12 %')
    """
    if percent is None:
        return "–"
    if percent < 0.1:
        return "less than 0.1 %"
    return f"{percent:.2g} %" if percent < 9.95 else f"{percent:.0f} %"


def clipped(text: str, most: int) -> str:
    """Return ``text`` with no more than ``most`` characters, cut between words.

    >>> clipped("look for an outlier, a drift", 22)
    'look for an outlier …'
    """
    return text if len(text) <= most else f"{text[: most - 1].rsplit(' ', 1)[0].rstrip(',;: ')} …"


def joined(items: list[str]) -> str:
    """Return ``a, b and c``."""
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"


def count(number: int, noun: str) -> str:
    """Return ``1 line`` or ``7 lines``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def of_line(name: str) -> str:
    """Return `` of line E``, nothing for a file that names no line."""
    return f" of line {name}" if name else ""


_SIGNS = tuple(
    (re.compile(plain), sign)
    for plain, sign in (
        (r"(?<=[\d)] )us\b", "µs"),
        (r"(?<=[\d)] )uW\b", "µW"),
        (r"(?<=[\d)]) deg\b", "°"),
        (r"(?<!\w)\+/?-(?= ?\d)", "±"),
        (r"(?<=[\d)])\+/-(?=\d)", " ± "),
    )
)


def typeset(text: str) -> str:
    """Return ``text`` with the signs of print where plain text makes do with letters.

    >>> typeset("-44.3 +- 2.8 kHz/K over 2.6 deg, held 38.6 us, 1.54+/-0.02, +-0.3 K")
    '-44.3 ± 2.8 kHz/K over 2.6°, held 38.6 µs, 1.54 ± 0.02, ±0.3 K'
    """
    for plain, sign in _SIGNS:
        text = plain.sub(sign, text)
    return text
