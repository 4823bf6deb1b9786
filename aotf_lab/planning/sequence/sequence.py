"""From wanted lines to a staircase: order, dead times, dwells, and what stands against it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import accumulate
from typing import Literal, TypeAlias

import numpy as np
from uncertainties import UFloat, nominal_value

from aotf_lab.crystal.passbands.passbands import Passbands
from aotf_lab.crystal.passbands.passbands import passbands as passbands_of
from aotf_lab.driver import Vco
from aotf_lab.driver.level import average_w
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.given import given_number
from aotf_lab.planning.curves import Curves, HasCurves, curves_of
from aotf_lab.planning.incident import incident_of
from aotf_lab.planning.park import Park
from aotf_lab.planning.park.drive import parked_drive
from aotf_lab.planning.safe_drive import require_safe
from aotf_lab.planning.sequence.dwell import equal_dwells
from aotf_lab.planning.sequence.hop import COARSE, Hop, hop_of, transit_of
from aotf_lab.planning.sequence.judge import checks_of, leaked_shares
from aotf_lab.planning.sequence.order import MOST_STEPS, least_order, require_few
from aotf_lab.planning.sequence.place import Place, places_of, ready_when_off
from aotf_lab.planning.sequence.result import Sequence
from aotf_lab.planning.sequence.scene import Scene, Timing
from aotf_lab.planning.sequence.staircase import require_within, staircase_of
from aotf_lab.planning.sequence.steps import Steps, as_steps
from aotf_lab.planning.sequence.turn import Turn

__all__ = ["sequence"]

Number: TypeAlias = "UFloat | float"
_TIE = 1e-6
"""Orders that leak alike: the one that settles sooner."""


def sequence(
    source: Curves | HasCurves,
    steps: Steps,
    *,
    delay_us: Number,
    rise_us: Number,
    port_bandwidth_khz: Number,
    passbands: Passbands | None = None,
    park: Park | float | None = None,
    lit: str | Iterable[str] | None = None,
    supply_v: float | None = None,
    rf_power_w: Number | None = None,
    incident_mw: Mapping[str, float] | None = None,
    good_share: float = 0.95,
    order: Literal["best", "soonest", "given"] = "best",
    equal_light: bool = False,
    kick_us: float | None = None,
    update_us: float | None = None,
    range_v: tuple[float, float] | None = None,
    crossing_limit_us: float | None = None,
    like: Sequence | None = None,
) -> Sequence:
    """Return the staircase that gives each step its dwell of good light, over and over.

    ``delay_us``, ``rise_us`` (10 to 90 %, optical) and ``port_bandwidth_khz`` are those of a measured edge and of the
    oscillator's port. Light is good above ``good_share`` of its full. ``lit`` are the lines whose light is on, or one
    (all that have a passband), ``park`` where to park. One amplifier supply serves all steps: ``supply_v``, or
    ``rf_power_w`` where the amplifier was not measured, else the one drive for all lines.

    ``order``: "best" leaks least of other lines on the way, "soonest" settles soonest (both exact, up to twelve steps),
    "given" keeps that of ``steps``. ``equal_light`` shares the same total dwell out so that each line's light energy
    over the cycle is in the ratio of the weights. ``kick_us`` drives the port beyond its aim for that long: it arrives
    then, fast. Holds are lengthened to multiples of ``update_us``. ``range_v`` are the volts that generator and
    port allow (None: none below 0 V). A line crossed counts as crossed slowly above ``crossing_limit_us`` within
    half of its peak (None: a tenth of the rise, so that its flash stays below a tenth of its full light).

    ``like`` is an earlier answer: on the same bench none of its hops is followed again, which gives the same sooner.

    ``source`` is an open session, or ``Curves`` with the oscillator's; ``steps`` pairs of a line (or ``PARK``, ``OFF``)
    and its dwell (us); ``passbands`` None takes those of ``source``; ``incident_mw`` line -> light before the crystal
    (mW), for energies. Each hop starts from rest, to which a check holds every step; the laws of the port and
    of the light's rise, with their sources, stand in the files ``port`` and ``beam``.

    Raises ``AotfLabError`` for arguments of another kind or out of bounds, no oscillator's curve, steps or volts that
    cannot be set, dwells that cannot be shared out and more than twelve steps to be ordered; ``OutOfRangeError`` for a
    park beyond the curve, ``UnsafeDriveError`` above the crystal's rating.
    """
    wanted = as_steps(steps)
    numbers = (
        given_number(delay_us, "delay_us", "us", with_u=True),
        given_number(rise_us, "rise_us", "us", with_u=True),
        given_number(port_bandwidth_khz, "port_bandwidth_khz", "kHz", with_u=True),
    )
    timing = Timing(*(float(nominal_value(v)) for v in numbers))
    _require(good_share, kick_us, update_us)
    curves, own = curves_of(source)
    vco = _vco(curves)
    if passbands is None:
        passbands = passbands_of(curves.scans, curves.efficiency, curves.tuning, wavelengths_nm=own)
    drive = parked_drive(source, curves, supply_v, rf_power_w)
    burning = passbands.lines if lit is None else [lit] if isinstance(lit, str) else lit
    names = tuple(dict.fromkeys([*burning, *(s.line for s in wanted if not s.dark)]))
    scene = None if like is None else like.scene
    if scene is None or not scene.is_of(curves, passbands, drive, names, good_share):
        scene = Scene(curves, vco, passbands, drive, names, good_share)
    places, words = _ordered(scene, places_of(source, scene, wanted, park), timing, kick_us, order)
    if curves.rated_rf_power_w is not None:
        for place in places:
            require_safe(place.rf_power_w, curves.rated_rf_power_w, place.step.line)
    hops = tuple(hop_of(scene, places[i - 1], p, timing, kick_us) for i, p in enumerate(places))
    lines = [p.line for p in places if p.line is not None]
    incident, how = incident_of(curves.scans, passbands, lines, incident_mw)
    turns, cycle = _turns(scene, hops, numbers, kick_us, incident, equal_light, update_us)
    stairs = staircase_of(turns, cycle)
    require_within(stairs, [t.name for t in turns], range_v)
    mean: Number = sum((t.mean_rf_w for t in turns), 0.0)
    leaked = leaked_shares(turns)
    limit = 0.1 * timing.rise_us if crossing_limit_us is None else crossing_limit_us
    checks = checks_of(turns, scene, leaked, limit, mean, curves.rated_rf_power_w, port_bandwidth_khz)
    return Sequence(turns, stairs, timing, scene, leaked, mean, curves.rated_rf_power_w, how,
                    "us of all light" if incident is None else "nJ", words, checks)  # fmt: skip


def _require(good_share: float, kick_us: float | None, update_us: float | None) -> None:
    given_number(good_share, "good_share")
    if not 0.5 < good_share < 1:
        raise AotfLabError(
            "share of the light that counts as good", found=good_share, allowed="above 0.5, below 1", cure="give 0.95"
        )
    for name, value in (("kick_us", kick_us), ("update_us", update_us)):
        if value is not None:
            given_number(value, name, "us", above=0)


def _vco(curves: Curves) -> Vco:
    if curves.vco is None:
        raise AotfLabError(
            "a sequence needs the oscillator's curve", found=Said(curves.missing.get("vco", "not measured")),
            allowed="a curve of volts and MHz", cure="measure it",
        )  # fmt: skip
    return curves.vco


def _ordered(
    scene: Scene, places: list[Place], timing: Timing, kick_us: float | None, how: str
) -> tuple[tuple[Place, ...], str]:
    """Return the places in order, and how the order came about."""
    n = len(places)
    chosen, words = tuple(range(n)), "as given"
    if n > MOST_STEPS:
        words += f", the best is looked for among {MOST_STEPS} at the most"
    if how != "given" and n > 2:
        require_few(n)
        cost = np.zeros((n, n))
        for i, a in enumerate(places):
            for j, b in enumerate(places):
                if a.step.line == b.step.line:
                    cost[i, j] = np.inf
                elif a.rf_on and b.rf_on:
                    transit = transit_of(scene, a, b, timing, kick_us)
                    leak = transit.leaked_us if how == "best" else 0.0
                    cost[i, j] = leak + (_TIE if how == "best" else 1.0) * transit.settle_us
        chosen, _ = least_order(cost)
        words = "least light leaked on the way" if how == "best" else "least time on the way"
    ordered = [places[i] for i in chosen]
    for a, b in zip(ordered, ordered[1:] + ordered[:1], strict=True):
        if a.step.line == b.step.line:
            raise AotfLabError(
                "the same step twice in a row", where=a.step.line, found=Said(f"{a.step.line}, {b.step.line}"),
                allowed="a change at every step", cure="make one step of the two, or put another between them",
            )  # fmt: skip
    return ready_when_off(ordered), words


def _turns(
    scene: Scene, hops: tuple[Hop, ...], numbers: tuple[Number, ...], kick_us: float | None,
    incident: Mapping[str, float] | None, equal_light: bool, update_us: float | None,
) -> tuple[tuple[Turn, ...], float]:  # fmt: skip
    """Return the turns and the length of the cycle; ``hops[i]`` leads into step i."""
    n = len(hops)
    after = [hops[(i + 1) % n] for i in range(n)]
    more = [into.dead_us - out.leave_us for into, out in zip(hops, after, strict=True)]
    edges = [m - into.lost_us + out.tail_us for m, into, out in zip(more, hops, after, strict=True)]
    light = [_light(h.end, incident) for h in hops]
    dwells = [h.end.step.dwell_us for h in hops]
    if equal_light:
        which = [i for i in range(n) if light[i] is not None]
        shared = equal_dwells(sum(dwells[i] for i in which), [light[i] for i in which if light[i] is not None],
                              [hops[i].end.step.weight for i in which], [edges[i] for i in which])  # fmt: skip
        for i, dwell in zip(which, shared, strict=True):
            dwells[i] = dwell
    holds = [_held(d + m, h, update_us) for d, m, h in zip(dwells, more, hops, strict=True)]
    starts = [0.0, *accumulate(holds)]
    cycle = starts[-1]
    turns = []
    for i, hop in enumerate(hops):
        good = (starts[i] + hop.dead_us, starts[i + 1] + after[i].leave_us)
        power = hop.end.rf_power_w
        mean = average_w(1.0, holds[i] / cycle) * power
        of = light[i]
        energy = None if of is None else of * (holds[i] - hop.lost_us + after[i].tail_us)
        dead = _dead(scene, hop, numbers, kick_us)
        turns.append(
            Turn(hop.end, hop, starts[i], holds[i], dead, *good, (good[1] - good[0]) / cycle, mean, of, energy)
        )
    return tuple(turns), cycle


def _light(place: Place, incident: Mapping[str, float] | None) -> UFloat | None:
    if place.line is None or place.efficiency is None:
        return None
    return place.efficiency if incident is None else place.efficiency * incident[place.line]


def _held(hold_us: float, hop: Hop, update_us: float | None) -> float:
    """Return the hold, in the dark no shorter than the port needs to be at the next volts, as whole updates."""
    least = hop.transit.settle_us if not hop.end.rf_on else 0.0
    hold = max(hold_us, least)
    return hold if update_us is None else float(np.ceil(hold / update_us - 1e-9)) * update_us


def _dead(scene: Scene, hop: Hop, numbers: tuple[Number, ...], kick_us: float | None) -> Number:
    """Return the dead time with what the uncertain times give it."""
    result: Number = hop.dead_us
    values = [float(nominal_value(v)) for v in numbers]
    here = None
    for i, value in enumerate(numbers):
        if not isinstance(value, UFloat) or value.s == 0:
            continue
        if i == 0:
            result = result + (value - value.n)
            continue
        moved = [v * (1.02 if k == i else 1.0) for k, v in enumerate(values)]
        here = here or hop_of(scene, hop.start, hop.end, Timing(*values), kick_us, COARSE).dead_us
        there = hop_of(scene, hop.start, hop.end, Timing(*moved), kick_us, COARSE).dead_us
        result = result + (there - here) / (0.02 * values[i]) * (value - value.n)
    return result
