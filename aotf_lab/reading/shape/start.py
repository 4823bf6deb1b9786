"""When a log began, by the lines above its headings."""

from __future__ import annotations

from datetime import datetime

from aotf_lab.errors import ReadingError
from aotf_lab.reading.clock.stamps import is_clock, seconds_of
from aotf_lab.reading.shape.settings import Settings
from aotf_lab.reading.words import plain_words

__all__ = ["start_of"]


def start_of(settings: Settings, date_order: str | None) -> datetime | None:
    """Return the clock time that the settings state for the start, None where none can be told from them."""
    stated = [s for s in settings.all_of("start") if is_clock(s.value)]
    by_key = {plain_words(s.key): s for s in stated}
    date, time = by_key.get("date") or by_key.get("start date"), by_key.get("time") or by_key.get("start time")
    pairs = [((date, time), f"{date.value} {time.value}")] if date and time and date is not time else []
    for used, text in (*pairs, *(((s,), s.value) for s in stated)):
        try:
            start = seconds_of([text], lambda _: "", date_order).start
        except ReadingError:
            continue
        if start is not None:
            for setting in used:
                settings.used(setting, "start of the readings")
            return start
    for setting in stated:
        settings.used(setting, "not used: not one certain date and time")
    return None
