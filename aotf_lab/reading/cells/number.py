"""The number in one cell, as benches write it, the unit that stands beside it, and whether it is in doubt."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache

from aotf_lab.reading.cells.marks import LARGEST
from aotf_lab.reading.text.grid import TextForm
from aotf_lab.reading.units import is_unit

__all__ = ["CellNumber", "NotANumber", "number_in"]


@dataclass(frozen=True)
class CellNumber:
    """``value`` as written, with an SI letter (k in 12k3, u in 850u) already applied.

    ``unit`` is the text of the unit in the cell ("" for none), ``letter`` the SI letter that was
    applied ("" for none), ``doubt`` "" or why the number is in doubt.
    """

    value: float
    unit: str = ""
    doubt: str = ""
    letter: str = ""


class NotANumber(ValueError):  # noqa: N818
    """The cell is no number: ``reason`` in one clause, and ``cure`` where one is known."""

    def __init__(self, reason: str = "text in a number", cure: str = "") -> None:
        self.reason = reason
        self.cure = cure
        super().__init__(reason)


_EXPONENT = {"k": 3, "K": 3, "M": 6, "G": 9, "m": -3, "u": -6, "µ": -6, "μ": -6, "n": -9, "p": -12}
"""SI letters (SI Brochure, 9th ed., table 7) that a bench uses; K as in the code of IEC 60062."""

_UNIT_FOR_POINT = "VAW"
_PREFIXABLE = {"V", "Vrms", "Vpp", "A", "ohm", "Ohm", "Ω", "\u2126", "Hz", "W", "s", "S/s"}
_BRACKETED = re.compile(r"^\((?P<inside>[^()]+)\)(?P<unit>[^()]*)$")
_BEFORE = re.compile(r"^(?:[~≈]\s*|(?:ca|approx|about)\.?\s+)", re.IGNORECASE)
_AFTER = re.compile(r"\s*(?:\(\s*\?+\s*\)|\?+|\*+)\s*$")
_BESIDE = re.compile(r"^(?:\s*(?:\(\s*\?+\s*\)|\?+|\*+))(?=\s|[^\W\d_]|$)")
_WITH_U = re.compile(r"[0-9]\s*(?:±|\+/-|\+-)|[0-9]\([0-9.,]+\)")
_ENDLESS = re.compile(r"^[+-]?(?:nan|inf|infinity)$", re.IGNORECASE)
_LIMIT = re.compile(r"^(?:[<>≤≥]|[<>]=)\s*[0-9+.,-]")


@lru_cache(maxsize=64)
def _grammar(decimal: str, thousands: str) -> re.Pattern[str]:
    """Return the pattern of a number: before the decimal mark the groups of three share one mark.

    Blanks may group the digits behind it too (SI Brochure, 9th ed., 5.4.4; from memory). An SI letter may stand
    in place of the decimal mark (IEC 60062, from memory: 4k7 is 4.7 k), and so may V, A or W (common practice).
    """
    point = re.escape(decimal)
    marks = "".join(re.escape(c) for c in thousands if c != decimal and not c.isalnum() and c not in "+-")
    blanks = "".join(re.escape(c) for c in thousands if c.isspace())
    mark = rf"(?P<mark>[{marks}])" if marks else "(?P<mark>(?!))"
    grouped = rf"[1-9][0-9]{{0,2}}{mark}[0-9]{{3}}(?:(?P=mark)[0-9]{{3}})*|"
    spaced = rf"(?:[0-9]{{3}}[{blanks}])+[0-9]{{1,3}}|" if blanks else ""
    letters = "".join(_EXPONENT) + _UNIT_FOR_POINT
    return re.compile(
        rf"(?P<sign>[+-]?)(?:(?P<coded>[0-9]+)(?P<infix>[{letters}])(?P<after>[0-9]+)|"
        rf"(?:(?P<whole>{grouped}[0-9]+)(?:{point}(?P<fraction>{spaced}[0-9]*))?|{point}(?P<bare>[0-9]+))"
        rf"(?:[eE](?P<exponent>[+-]?[0-9]+))?)(?P<rest>[^0-9].*)?$",
        re.DOTALL,
    )


def number_in(cell: str, form: TextForm) -> CellNumber:
    """Return the number in ``cell``; ``form`` says which marks are decimal and between thousands.

    Raises ``NotANumber`` for text, also for what ``float`` would take (nan, inf, 1_000, other digits than
    0 to 9), for a value with its uncertainty in one cell, and for a number from 9.8E37 on, a mark.

    >>> point = TextForm("utf-8", "", "comma", "", ".", "", thousands_marks=" ")
    >>> number_in("64.2285 MHz", point)
    CellNumber(value=64.2285, unit='MHz', doubt='', letter='')
    >>> number_in("12k3", point).value, number_in("850u", point).value, number_in("~64.2?", point).doubt
    (12300.0, 0.00085, "marked as doubtful: '~', '?'")
    """
    text = cell.strip().replace("\u2212", "-")
    text, doubts = _undoubted(text)
    match = _grammar(form.decimal_mark, form.thousands_marks).match(text)
    if not match:
        raise _refusal(text, form)
    rest = match["rest"] or ""
    beside = _BESIDE.match(rest)
    if beside:
        doubts.append(beside[0].strip())
        rest = rest[beside.end() :]
    letter, unit = _letter_and_unit(rest.strip(), match, text, form)
    value = _value(match, _EXPONENT[letter] if letter else 0)
    doubt = f"marked as doubtful: {', '.join(map(repr, doubts))}" if doubts else ""
    return CellNumber(value, unit, doubt, letter)


def _undoubted(text: str) -> tuple[str, list[str]]:
    """Return the text without the marks of doubt around it, and those marks."""
    brackets = _BRACKETED.match(text)
    if brackets:
        inside, marks = _undoubted(brackets["inside"])
        return inside + brackets["unit"], ["brackets", *marks]
    before = _BEFORE.match(text)
    text = text[before.end() :] if before else text
    after = _AFTER.search(text)
    text = text[: after.start()] if after else text
    return text, [m[0].strip() for m in (before, after) if m]


def _letter_and_unit(rest: str, match: re.Match[str], text: str, form: TextForm) -> tuple[str, str]:
    """Return the SI letter to apply and the text of the unit, from what follows the digits."""
    infix: str = match["infix"] or ""
    if infix in _UNIT_FOR_POINT and infix:
        if rest:
            raise _refusal(text, form)
        return "", infix
    if infix:
        if rest and rest not in _PREFIXABLE:
            raise _refusal(text, form)
        return infix, rest
    if rest in _EXPONENT and rest != "K":  # K may be kelvin: the column decides
        if not match["exponent"]:
            return rest, ""
        if rest == "m":
            return "", rest
        raise NotANumber("an exponent and an SI letter in one number")
    if rest and not (is_unit(rest) and rest.isprintable() and not any(c.isdigit() for c in rest)):
        raise _refusal(text, form)
    return "", rest


def _value(match: re.Match[str], shift: int) -> float:
    """Return the number, rounded once: the SI letter goes into the exponent, not into a product."""
    whole = match["coded"] or match["whole"] or "0"
    whole = whole.replace(match["mark"], "") if match["mark"] else whole
    fraction = "".join((match["after"] or match["fraction"] or match["bare"] or "").split())
    exponent = match["exponent"] or "0"
    if len(exponent.lstrip("+-0")) > 6:
        raise NotANumber("a number that no bench reads")
    value = float(f"{match['sign']}{whole}.{fraction}e{int(exponent) + shift}")
    if abs(value) >= LARGEST or (value == 0.0 and (whole + fraction).strip("0")):
        raise NotANumber("a number that no bench reads" if math.isfinite(value) else "a number that is not finite")
    return value


def _refusal(text: str, form: TextForm) -> NotANumber:
    if _ENDLESS.match(text):
        return NotANumber("a number that is not finite")
    if _WITH_U.search(text):
        return NotANumber(
            "a number with its uncertainty in one cell",
            "give the uncertainty a column of its own, headed u(...), in the next export",
        )
    if _LIMIT.match(text):
        return NotANumber("a limit, not a reading")
    between = re.match(r"^[+-]?[0-9]*([.,'’\s])[0-9]", text)
    if between and between[1] != form.decimal_mark:
        decimal = f'decimal_mark = "{between[1]}" or ' if between[1] in ".," else ""
        return NotANumber(cure=f'state {decimal}thousands_mark = "{between[1]}" in a layout if that is what it is')
    return NotANumber()
