"""From one place to the next: how long until the light is good, and what is lit on the way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from aotf_lab.planning.sequence.beam import through_beam
from aotf_lab.planning.sequence.place import Place
from aotf_lab.planning.sequence.port import FloatArray, Move, move_of
from aotf_lab.planning.sequence.scene import Scene, Timing

__all__ = ["COARSE", "FINE", "Crossing", "Grid", "Hop", "Transit", "hop_of", "transit_of"]


@dataclass(frozen=True)
class Grid:
    """How finely a hop is followed: points over a passband and over the port's time constant, and points of light.

    ``all_lines`` is whether every line is followed, or those of the two ends alone.
    """

    per_width: int
    per_tau: int
    seen: int
    all_lines: bool


FINE, COARSE = Grid(40, 60, 700, True), Grid(12, 20, 240, False)
"""For what is stated, and for how that changes with the times."""

_REST = 1e-3
"""The port counts as at rest within this share of the narrowest passband's good half width."""
_BEAM = 6.0


@dataclass(frozen=True)
class Crossing:
    """A line that the oscillator passes: ``within_us`` within half of its peak, ``leaked_us`` of its full light."""

    line: str
    within_us: float
    leaked_us: float


@dataclass(frozen=True)
class Transit:
    """The frequency sent after a command: ``time_us`` (n,), ``frequency_mhz`` (n,), and the lines that it crosses.

    The last time is when the port is at rest; ``settle_us`` is when the frequency stays close enough for good light.
    ``light`` (n,) is what each line that was followed gives at these frequencies with RF on, over its full light.
    """

    move: Move
    time_us: FloatArray = field(repr=False)
    frequency_mhz: FloatArray = field(repr=False)
    settle_us: float
    light: dict[str, FloatArray] = field(repr=False)
    crossings: tuple[Crossing, ...]

    @property
    def leaked_us(self) -> float:
        """Light of all lines crossed, in microseconds of the full light of one."""
        return sum(c.leaked_us for c in self.crossings)


@dataclass(frozen=True)
class Hop:
    """A change of place, made by ``hop_of``; all times count from the command.

    ``dead_us`` is when the light of ``end`` is good and stays so (in the dark: when that of ``start`` is gone),
    ``leave_us`` until when the light of ``start`` is still good. ``lost_us`` is the full light that ``end`` lacks for
    rising late, ``tail_us`` what ``start`` still gets; both leave the delay out. ``seen_us`` (n,) and ``light`` are
    each line's course at the beam.
    """

    start: Place
    end: Place
    transit: Transit
    dead_us: float
    leave_us: float
    lost_us: float
    tail_us: float
    seen_us: FloatArray = field(repr=False)
    light: dict[str, FloatArray] = field(repr=False)

    @property
    def crossings(self) -> tuple[Crossing, ...]:
        """The lines crossed on the way, none where RF is off."""
        return self.transit.crossings


def transit_of(
    scene: Scene, start: Place, end: Place, timing: Timing, kick_us: float | None, grid: Grid = FINE
) -> Transit:
    """Return what is sent on the way from ``start`` to ``end``; it is followed once on a scene."""
    tau = timing.tau_us
    what = ("transit", start.spot, end.spot, tau, kick_us, grid)
    return scene.once(what, lambda: _transit(scene, start, end, tau, kick_us, grid))


def _transit(scene: Scene, start: Place, end: Place, tau_us: float, kick_us: float | None, grid: Grid) -> Transit:
    move = move_of(start.volts, end.volts, tau_us, kick_us)
    slope = scene.slope_mhz_per_v(end.volts)
    near = scene.near_mhz(end.line) / slope
    rest = min(move.settled_us(_REST * near), move.until_us)
    span = abs(float(np.diff(scene.frequency_mhz(np.array([start.volts, end.volts])))[0]))
    count = int(np.clip(grid.per_width * span / scene.narrowest_mhz, 50, 20000))
    volts = np.linspace(start.volts, end.volts, count + 1)[:-1]
    times = move.time_us(volts) if start.volts != end.volts else np.zeros(1)
    times = np.union1d(times[times < rest], np.linspace(0.0, rest, max(2, int(grid.per_tau * rest / tau_us))))
    frequency = scene.frequency_mhz(move.volts(times))
    settle = min(move.settled_us(near), move.until_us)
    ends = [line for line in (start.line, end.line) if line is not None]
    light = scene.light(scene.lines if grid.all_lines else ends, frequency)
    between = [line for line in scene.lines if line not in ends] if start.rf_on and end.rf_on else []
    crossings = _crossings(scene, times, frequency, {n: light[n] for n in between if n in light})
    return Transit(move, times, frequency, settle, light, crossings)


def _crossings(
    scene: Scene, times: FloatArray, frequency: FloatArray, light: Mapping[str, FloatArray]
) -> tuple[Crossing, ...]:
    found = []
    low, high = sorted((float(frequency[0]), float(frequency[-1])))
    lasting = np.diff(times)
    for line, course in light.items():
        middle = 0.5 * (course[1:] + course[:-1])
        within = float(np.sum(lasting[middle >= 0.5]))
        if within > 0 or low <= float(scene.passbands.peak_mhz(line).n) <= high:
            found.append(Crossing(line, within, float(np.sum(middle * lasting))))
    return tuple(found)


def hop_of(
    scene: Scene, start: Place, end: Place, timing: Timing, kick_us: float | None = None, grid: Grid = FINE
) -> Hop:
    """Return the hop from ``start`` to ``end``; it is followed once on a scene, whatever the dwells."""
    what = ("hop", start.spot, end.spot, timing, kick_us, grid)
    return replace(scene.once(what, lambda: _hop(scene, start, end, timing, kick_us, grid)), start=start, end=end)


def _hop(scene: Scene, start: Place, end: Place, timing: Timing, kick_us: float | None, grid: Grid) -> Hop:
    transit = transit_of(scene, start, end, timing, kick_us, grid)
    sent = transit.time_us
    wing = _BEAM * timing.deviation_us
    seen = timing.delay_us + np.linspace(-wing, float(sent[-1]) + wing, grid.seen)
    names, gate = list(transit.light), float(end.rf_on)
    course = np.reshape([transit.light[n] for n in names], (len(names), len(sent)))
    middle = 0.5 * gate * (course[:, 1:] + course[:, :-1])
    old, new = float(start.rf_on) * course[:, 0], gate * course[:, -1]
    through = through_beam(sent, middle, old, new, seen - timing.delay_us, timing.deviation_us)
    light = dict(zip(names, through, strict=True))
    sums = dict(zip(names, (middle @ np.diff(sent)).tolist(), strict=True))
    dead, leave = _times(start, end, seen, light, scene.good_share, timing.delay_us)
    lost = float(sent[-1]) - sums[end.line] if end.line is not None else 0.0
    tail = sums[start.line] if start.line is not None else 0.0
    return Hop(start, end, transit, dead, leave, lost, tail, seen, light)


def _times(
    start: Place, end: Place, seen: FloatArray, light: dict[str, FloatArray], share: float, delay_us: float
) -> tuple[float, float]:
    """Return when ``end`` is good and until when ``start`` is; a dark place is good while its neighbour is dim."""
    if end.line is not None:
        dead = _last(seen, light[end.line] - share * light[end.line][-1])
    elif start.line is not None:
        dead = _last(seen, (1.0 - share) * light[start.line][0] - light[start.line])
    else:
        dead = delay_us
    if start.line is not None:
        leave = _first(seen, light[start.line] - share * light[start.line][0])
    elif end.line is not None:
        leave = _first(seen, (1.0 - share) * light[end.line][-1] - light[end.line])
    else:
        leave = delay_us
    return dead, leave


def _first(time: FloatArray, margin: FloatArray) -> float:
    """Return when ``margin`` first goes below zero, by a straight line between points; the last time if never."""
    below = np.flatnonzero(margin < 0)
    if len(below) == 0:  # two lines at one frequency
        return float(time[-1])
    k = int(below[0])
    if k == 0:
        return float(time[0])
    return float(time[k - 1] + (time[k] - time[k - 1]) * margin[k - 1] / (margin[k - 1] - margin[k]))


def _last(time: FloatArray, margin: FloatArray) -> float:
    """Return when ``margin`` last comes above zero."""
    below = np.flatnonzero(margin < 0)
    if len(below) == 0:
        return float(time[0])
    k = int(below[-1])
    if k == len(time) - 1:
        return float(time[-1])
    return float(time[k] + (time[k + 1] - time[k]) * margin[k] / (margin[k] - margin[k + 1]))
