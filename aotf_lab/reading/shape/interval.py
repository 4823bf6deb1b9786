"""The time of each row from the interval between samples, where the file has no column of times."""

from __future__ import annotations

from aotf_lab.reading.shape.settings import Settings
from aotf_lab.reading.shape.split_heading import known_unit
from aotf_lab.reading.units import parse_unit

__all__ = ["sample_interval_s"]

_PER_SECOND = {"/s": 1.0, "1/s": 1.0, "per s": 1.0, "per second": 1.0, "samples per second": 1.0, "readings/s": 1.0}


def sample_interval_s(settings: Settings) -> tuple[float, str] | None:
    """Return the interval in s and its evidence, None where nothing above the headings states it with a unit."""
    for kind in ("interval", "rate"):
        for setting in settings.all_of(kind):
            number = settings.number(setting)
            interval = None if number is None else _seconds(kind, *number)
            if interval is None:
                settings.used(setting, "not used: it needs a number above 0 with a unit, such as 0.5 s")
                continue
            where = f"line {setting.line}" if setting.line else "the layout"
            settings.used(setting, "time_s: rows counted from 0 at the first")
            return interval, f"{setting.key} {setting.value}, {where}: rows counted from 0 at the first"
    return None


def _seconds(kind: str, number: float, unit_text: str) -> float | None:
    if not number > 0:
        return None
    if kind == "rate":
        per_second = _PER_SECOND.get(unit_text.lower())
        if per_second is None and known_unit(unit_text):
            unit = parse_unit(unit_text)
            per_second = unit.factor if unit.kind in ("frequency", "sample rate") else None
        return None if per_second is None else 1.0 / (number * per_second)
    if not known_unit(unit_text) or parse_unit(unit_text).kind != "time":
        return None
    return number * parse_unit(unit_text).factor
