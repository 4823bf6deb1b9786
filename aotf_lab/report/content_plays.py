"""What the generator is to play, as text: what to type, and what comes of it, a small table each."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from uncertainties import UFloat

from aotf_lab.planning.generator import Made, SineSweep, Typed
from aotf_lab.planning.sequence import Sequence
from aotf_lab.planning.sequence.turn import Turn
from aotf_lab.report.pace_parts import Pace
from aotf_lab.report.words import light, measured
from aotf_lab.session.timing import Played

__all__ = ["PlayText", "play_texts", "typed_volts"]

_LEVEL_HEADS = (
    "Level", "Port, wanted (V)", "Port, as typed (V)", "Frequency as typed (MHz)", "Off by rounding (kHz)",
    "Off in all, at most (kHz)", "Light lost as typed, at most", "Light lost once set by the voltmeter, at most",
)  # fmt: skip
_STEP_HEADS = (
    "Step", "Port (V)", "Held from (µs)", "Held for (µs)", "Dead (µs)", "Good light from (µs)", "Good light for (µs)",
    "Share of time", "Light a cycle ({})", "Mean RF (W)",
)  # fmt: skip
_WINDOW_HEADS = ("Line", "Sine", "Lights from (µs)", "Lights for (µs)", "Through the peak (MHz/µs)")


@dataclass(frozen=True)
class PlayText:
    """A play as text: its name, what it is, what holds for all of it, and a table of what comes of it."""

    name: str
    what: str
    rows: tuple[tuple[str, str], ...]
    heads: tuple[str, ...]
    table: tuple[tuple[str, ...], ...]


def play_texts(pace: Pace) -> list[PlayText]:
    """Return each play as text."""
    return [_text(name, play) for name, play in pace.plays.items()]


def typed_volts(typed: Mapping[str, Typed]) -> tuple[str, ...]:
    """Return offset and amplitude (peak to peak) of each display, as they are typed."""
    return tuple(text for t in typed.values() for text in (t.offset_text, t.amplitude_text))


def _text(name: str, play: Played) -> PlayText:
    if isinstance(play, Sequence):
        heads = tuple(head.format(play.unit) for head in _STEP_HEADS)
        return _told(name, play, play.rows(), play.order, heads, [_step(turn) for turn in play.turns])
    if isinstance(play, SineSweep):
        tabled = [f"{w.line} {w.way}" for w in play.windows]
        return _told(name, play, play.rows(), tabled, _WINDOW_HEADS, _windows(play))
    levels = [_level(m) for m in play.made if m.display == "high impedance"]
    typed = [pair for pair in play.made_rows() if pair[0].startswith("type, ")]
    return _told(name, play, typed, (), _LEVEL_HEADS, levels)


def _told(
    name: str, play: Played, rows: Iterable[tuple[str, str]], tabled: Iterable[str], heads: tuple[str, ...],
    table: Iterable[tuple[str, ...]],
) -> PlayText:  # fmt: skip
    """Return a play with those of its ``rows`` that do not stand in its table."""
    left = tuple((key, re.sub(r"\bus\b", "µs", words)) for key, words in rows if key not in set(tabled))
    return PlayText(name, re.sub(r"\bus\b", "µs", play.title), left, heads, tuple(table))


def _level(made: Made) -> tuple[str, ...]:
    name = made.wanted.name if made.reachable else f"{made.wanted.name} (out of reach)"
    return (
        name, measured(made.wanted.port_v), measured(made.port_v), f"{made.frequency_mhz.n:.4f}",
        f"{1e3 * made.error_mhz.n:+.2f}", f"{1e3 * made.error_limit_mhz:.3g}", light(made.light_lost_percent),
        light(made.calibrated_lost_percent),
    )  # fmt: skip


def _step(turn: Turn) -> tuple[str, ...]:
    port = measured(turn.place.drive_v)
    return (
        turn.name, port if turn.place.rf_on else f"{port}, RF off", f"{turn.command_us:.2f}", f"{turn.hold_us:.2f}",
        measured(turn.dead_us) if isinstance(turn.dead_us, UFloat) else f"{turn.dead_us:.2f}",
        f"{turn.good_from_us:.2f}", f"{turn.dwell_us:.2f}", f"{100 * turn.duty:.1f} %", measured(turn.energy),
        measured(turn.mean_rf_w),
    )  # fmt: skip


def _windows(play: SineSweep) -> list[tuple[str, ...]]:
    return [
        (w.line, w.way, measured(w.start_us), measured(w.dwell_us), measured(w.rate_mhz_per_us)) for w in play.windows
    ]
