"""What does one cell of a clock say?

An explicit list of forms, each with one meaning, and ``datetime`` for the calendar only. Tried by hand and left
out: dateutil takes ``03/04/2026`` as month first and ``29/03/2026`` in the next row as day first,
``12:03.5`` as 12:03:30 and ``64.2285`` as the year 2064, all without a word; ``strptime`` stops at six decimals;
``fromisoformat`` cuts what follows them and takes any character for the T.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Final, Literal

from aotf_lab.reading.clock.written_day import NoSuchTimeError, written_day, zone_seconds

__all__ = ["DAY_NS", "SECOND_NS", "Kind", "NoSuchTimeError", "Stamp", "looks_like_stamp", "parse_stamp"]

SECOND_NS: Final = 10**9
DAY_NS: Final = 86_400 * SECOND_NS

Kind = Literal["date and time", "time h:mm:ss", "time of two fields", "elapsed time", "Unix time", "date alone"]


@dataclass(frozen=True, slots=True)
class Stamp:
    """What a cell says.

    ``ns`` (nanoseconds) counts from midnight in "date and time", "time h:mm:ss" and "time of two fields" (read
    as h:mm), else from zero or from 1970 in UTC. ``day`` is the day as ``date.toordinal`` counts, None where the
    order of ``numbers`` (as written, with ``mark`` between them) is open or where there is no date.
    ``certain`` is "clock" or "counter" when a time without a date can be only that; ``doubt`` why to flag it.
    """

    kind: Kind
    ns: int
    day: int | None = None
    numbers: tuple[int, int, int] | None = None
    mark: str = ""
    short_year: bool = False
    zone_s: int | None = None
    certain: Literal["", "clock", "counter"] = ""
    fraction: bool = False
    doubt: str = ""


_TIME = (
    r"(?P<h>[0-9]{1,2}):(?P<m>[0-9]{2})(?::(?P<s>[0-9]{2})(?:[.,](?P<f>[0-9]+))?)?(?:\s*(?P<half>[AaPp]\.?[Mm]\.?)(?![A-Za-z]))?"
    r"(?:\s*(?P<zone>[Zz]|UTC|GMT|[+\u2212-][0-9]{2}(?::?[0-9]{2})?))?"
)
_MONTH = r"(?P<month>[A-Za-z]{3,9})\.?"
_WEEKDAY = r"(?:(?P<weekday>[A-Za-z]{3,9})\.?,?\s+)?"
_DATES = (
    r"(?P<y>[0-9]{4})(?P<mark>[-/.])(?P<mo>[0-9]{1,2})(?P=mark)(?P<d>[0-9]{1,2})",
    r"(?P<a>[0-9]{1,2})(?P<mark>[-/.])(?P<b>[0-9]{1,2})(?P=mark)(?P<c>[0-9]{4}|[0-9]{2})",
    r"(?P<y>[0-9]{4})-?W(?P<week>[0-9]{2})-?(?P<weekday_number>[1-7])",
    r"(?P<y>[0-9]{4})-(?P<ordinal>[0-9]{3})",
    rf"{_WEEKDAY}(?P<d>[0-9]{{1,2}})(?:\.?\s+|[-/]){_MONTH}(?:\s+|[-/])(?P<y>[0-9]{{4}}|[0-9]{{2}})",
    rf"{_WEEKDAY}{_MONTH}\s+(?P<d>[0-9]{{1,2}}),?\s+(?P<y>[0-9]{{4}})",
)
_FRACTION = r"(?:[.,](?P<f>[0-9]+))?"
_BASIC = (
    r"(?P<y>[0-9]{4})(?P<mo>[0-9]{2})(?P<d>[0-9]{2})[Tt_ ](?P<h>[0-9]{2})(?P<m>[0-9]{2})"
    rf"(?:(?P<s>[0-9]{{2}}){_FRACTION})?\s*(?P<zone>[Zz]|UTC|[+\u2212-][0-9]{{2}}(?:[0-9]{{2}})?)?"
)
_C_TIME = rf"{_WEEKDAY}{_MONTH}\s+(?P<d>[0-9]{{1,2}})\s+{_TIME}\s+(?P<y>[0-9]{{4}})"
_DATED = tuple(
    re.compile(p)
    for p in (
        *(rf"{d}(?:[Tt_]|,?\s+){_TIME}" for d in _DATES), _BASIC, *(rf"{_TIME}\s+{d}" for d in _DATES), _C_TIME
    )
)  # fmt: skip
_DATE_ALONE = tuple(re.compile(p) for p in _DATES)
_CLOCK = re.compile(r"(?P<sign>[+\u2212-])?(?P<h>[0-9]{1,5}):(?P<m>[0-9]{2}):(?P<s>[0-9]{2})" + _FRACTION
                    + r"(?:\s*(?P<half>[AaPp]\.?[Mm]\.?))?")  # fmt: skip
_TWO = re.compile(r"(?P<h>[0-9]{1,5}):(?P<m>[0-9]{2})" + _FRACTION + r"(?:\s*(?P<half>[AaPp]\.?[Mm]\.?))?")
_DAYS = re.compile(r"(?P<days>[0-9]+)(?:\s*(?:d|days?),?\s*|\.)(?P<h>[0-9]{1,2}):(?P<m>[0-9]{2}):(?P<s>[0-9]{2})"
                   + _FRACTION)  # fmt: skip
_LETTERS = re.compile(
    r"(?:(?P<days>[0-9]+)\s*d\s*)?(?:(?P<h>[0-9]+)\s*h\s*)?(?:(?P<m>[0-9]+)\s*(?:min|m)\s*)?"
    rf"(?:(?P<s>[0-9]+){_FRACTION}\s*s)?"
)
_EPOCH = re.compile(r"(?P<whole>[0-9]{10}|[0-9]{13}|[0-9]{16}|[0-9]{19})" + _FRACTION)
_EPOCH_UNIT_NS = {10: SECOND_NS, 13: 10**6, 16: 10**3, 19: 1}
_COLONS = re.compile(r"[+\u2212-]?[0-9]+(?::[0-9]+)+(?:[.,:][0-9]+)?")


def looks_like_stamp(cell: str) -> bool:
    """Return whether the cell has the form of a stamp, also where no such time exists (``25:61:00``)."""
    try:
        return parse_stamp(cell) is not None
    except NoSuchTimeError:
        return True


def parse_stamp(cell: str) -> Stamp | None:
    """Return what the cell says, None when it has no form of a stamp.

    Raises ``NoSuchTimeError`` for a form of which no time exists.

    >>> parse_stamp("00:12:03.5").ns / SECOND_NS
    723.5
    >>> parse_stamp("64.2285") is None
    True
    """
    text = cell.strip()
    if text.endswith("?") and len(text) > 1:
        stamp = parse_stamp(text.rstrip("? "))
        return None if stamp is None else replace(stamp, doubt=f"time in doubt: {text!r}")
    if ":" in text or text[:8].isdigit():
        for form in _DATED:
            match = form.fullmatch(text)
            if match:
                return _dated(match.groupdict())
    return _undated(text)


def _undated(text: str) -> Stamp | None:
    if match := _CLOCK.fullmatch(text):
        return _clock(match.groupdict(), "time h:mm:ss")
    if match := _TWO.fullmatch(text):
        return _clock(match.groupdict(), "time of two fields")
    with_days = _DAYS.fullmatch(text)
    match = with_days or _LETTERS.fullmatch(text)
    if match and sum(match[g] is not None for g in ("days", "h", "m", "s")) >= 2:
        parts = match.groupdict()
        ns = int(parts["days"] or 0) * DAY_NS + _of_hour(parts, top=24 if with_days else None)
        return Stamp("elapsed time", ns, certain="counter", fraction=parts["f"] is not None)
    if match := _EPOCH.fullmatch(text):
        unit = _EPOCH_UNIT_NS[len(match["whole"])]
        ns = int(match["whole"]) * unit + _fraction_ns(match["f"], unit)
        return Stamp("Unix time", ns, mark=_scale(unit), fraction=match["f"] is not None)
    for form in _DATE_ALONE:
        if match := form.fullmatch(text):
            return Stamp("date alone", 0)
    if _COLONS.fullmatch(text):
        raise NoSuchTimeError("fields that are neither h:mm, mm:ss, h:mm:ss nor days with h:mm:ss")
    return None


def _scale(unit_ns: int) -> str:
    return {SECOND_NS: "seconds", 10**6: "milliseconds", 10**3: "microseconds", 1: "nanoseconds"}[unit_ns]


def _fraction_ns(digits: str | None, unit_ns: int) -> int:
    """Return the decimals of ``unit_ns`` in ns, rounded at the ninth of a second."""
    return round(int(digits) * unit_ns / 10 ** len(digits)) if digits else 0


def _of_hour(parts: dict[str, str | None], top: int | None) -> int:
    """Return hours, minutes and seconds in ns; ``top`` is the first hour that does not exist."""
    h, m, s = (int(parts.get(g) or 0) for g in ("h", "m", "s"))
    if top is not None and h >= top:
        raise NoSuchTimeError(f"hour {h}")
    if m > 59 or s > 59:
        raise NoSuchTimeError(f"minute {m}" if m > 59 else f"second {s}")
    return ((h * 60 + m) * 60 + s) * SECOND_NS + _fraction_ns(parts.get("f"), SECOND_NS)


def _clock(parts: dict[str, str | None], kind: Kind) -> Stamp:
    """Return a time without a date: of day, or counted from a start."""
    if parts["half"]:
        return Stamp(kind, _half_day(parts), certain="clock", fraction=parts["f"] is not None)
    if kind == "time of two fields":
        first, second = int(parts["h"] or 0), int(parts["m"] or 0)
        if second > 59:
            raise NoSuchTimeError(f"{second} after the colon")
        # read as h:mm here; decimals stay apart, since only a second has any
        decimals = _fraction_ns(parts["f"], SECOND_NS)
        return Stamp(kind, (first * 60 + second) * 60 * SECOND_NS, numbers=(first, second, decimals),
                     fraction=parts["f"] is not None)  # fmt: skip
    ns = _of_hour(parts, top=None)
    hours = int(parts["h"] or 0)
    sign = -1 if parts.get("sign") not in (None, "+") else 1
    counter = hours > 23 or parts.get("sign") is not None
    return Stamp(kind, sign * ns, certain="counter" if counter else "", fraction=parts["f"] is not None)


def _half_day(parts: dict[str, str | None]) -> int:
    hour, half = int(parts["h"] or 0), (parts["half"] or "").lower()[:1]
    if not 1 <= hour <= 12:
        raise NoSuchTimeError(f"hour {hour} with AM or PM")
    if parts.get("f") and not parts.get("s"):
        raise NoSuchTimeError("decimals of a minute")
    return _of_hour({**parts, "h": str(hour % 12 + (12 if half == "p" else 0))}, top=24)


def _dated(parts: dict[str, str | None]) -> Stamp:
    doubt, extra_day, ns = "", 0, 0
    if parts.get("half"):
        ns = _half_day(parts)
    elif parts["s"] == "60" and parts["m"] in ("14", "29", "44", "59"):  # the minute may be shifted by the zone
        doubt = "leap second 60, read as the second after 59"
        ns = _of_hour({**parts, "s": "59"}, top=24) + SECOND_NS
    elif parts["h"] == "24" and not any(int(parts[g] or 0) for g in ("m", "s", "f")):
        extra_day = 1  # ISO 8601-1:2019/Amd 1:2022, the end of a day
    else:
        ns = _of_hour(parts, top=24)
    stamp = Stamp("date and time", ns, zone_s=zone_seconds(parts["zone"]), fraction=parts["f"] is not None, doubt=doubt)
    if parts.get("a"):
        numbers = (int(parts["a"] or 0), int(parts["b"] or 0), int(parts["c"] or 0))
        return replace(stamp, numbers=numbers, mark=parts["mark"] or "", short_year=len(parts["c"] or "") == 2,
                       ns=ns + extra_day * DAY_NS)  # fmt: skip
    day, short = written_day(parts)
    return replace(stamp, day=day.toordinal(), short_year=short, ns=ns + extra_day * DAY_NS)
