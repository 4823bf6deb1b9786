"""What stands against a sequence: slow crossings, leaked light, RF power, steps too short to come to rest."""

from __future__ import annotations

import numpy as np
from uncertainties import UFloat, nominal_value

from aotf_lab.driver.level import DriveLimits
from aotf_lab.estimation import Check
from aotf_lab.planning.safe_drive import upper_bound
from aotf_lab.planning.sequence.port import time_constant_us
from aotf_lab.planning.sequence.scene import Scene
from aotf_lab.planning.sequence.turn import Turn
from aotf_lab.reading.session_limits import U_PORT

__all__ = ["checks_of", "leaked_shares"]

LEAK_LIMIT = 0.01
"""Share of a line's dwell that may leak while others are on their way."""


def leaked_shares(turns: tuple[Turn, ...]) -> dict[str, float]:
    """Return the light that each line gets while crossed, over its own dwell, or the shortest one where it has none."""
    leaked: dict[str, float] = {}
    for turn in turns:
        for crossing in turn.hop.crossings:
            leaked[crossing.line] = leaked.get(crossing.line, 0.0) + crossing.leaked_us
    shortest = min((t.dwell_us for t in turns if t.place.line is not None), default=turns[0].dwell_us)
    own = {name: sum(t.dwell_us for t in turns if t.name == name) or shortest for name in leaked}
    return {name: value / own[name] for name, value in leaked.items()}


def checks_of(
    turns: tuple[Turn, ...], scene: Scene, leaked: dict[str, float], limit_us: float, mean_w: UFloat | float,
    rated_w: float | None, port_khz: UFloat | float,
) -> tuple[Check, ...]:  # fmt: skip
    """Return the checks of a sequence."""
    checks = [_crossed(turns, limit_us), _leaked(leaked), _power(turns, mean_w, rated_w), _rest(turns)]
    if any(t.hop.transit.move.kicked for t in turns):
        checks.append(_kick(turns, scene, port_khz))
    return tuple(checks)


def _crossed(turns: tuple[Turn, ...], limit_us: float) -> Check:
    slow = [(c.within_us, c.line, t) for t in turns for c in t.hop.crossings]
    if not slow:
        return Check("crossed quickly", True, "no other line is crossed with RF on")
    within, line, turn = max(slow, key=lambda s: s[0])
    way = f"{turn.hop.start.step.line} to {turn.name}"
    detail = f"line {line} is crossed in {1e3 * within:.3g} ns on the way from {way}, limit {1e3 * limit_us:.3g} ns"
    cure = 'give kick_us for fast steps, put a step of "off" between, or let order="best" choose'
    return Check("crossed quickly", within <= limit_us, detail if within <= limit_us else f"{detail}; {cure}")


def _leaked(leaked: dict[str, float]) -> Check:
    if not leaked:
        return Check("little leaks on the way", True, "no other line is crossed with RF on")
    line = max(leaked, key=lambda n: leaked[n])
    detail = f"line {line} gets {100 * leaked[line]:.2g} % of its dwell out of turn, limit {100 * LEAK_LIMIT:g} %"
    passed = leaked[line] <= LEAK_LIMIT
    return Check("little leaks on the way", passed, detail if passed else f"{detail}; lengthen dwells, or give kick_us")


def _power(turns: tuple[Turn, ...], mean_w: UFloat | float, rated_w: float | None) -> Check:
    peak = max(upper_bound(t.place.rf_power_w) for t in turns)
    words = f"RF power up to {peak:.3g} W while on and {upper_bound(mean_w):.3g} W in the mean (97.5 %)"
    if rated_w is None:
        return Check("RF power within the rating", False, f"{words}; the rating is not known: take it from the papers")
    most = DriveLimits(rated_w).highest_peak_w()
    return Check("RF power within the rating", peak <= most * (1 + 1e-9), f"{words}, rated {rated_w:g} W")


def _rest(turns: tuple[Turn, ...]) -> Check:
    spare, turn = min(((t.hold_us - float(t.hop.transit.time_us[-1]), t) for t in turns), key=lambda s: s[0])
    detail = (
        f"shortest step {turn.name}: held {turn.hold_us:.3g} us, the port rests {turn.hold_us - spare:.3g} us after"
    )
    if spare >= 0:
        return Check("each hop from rest", True, detail)
    return Check(
        "each hop from rest", False,
        f"{detail} its command: the next hop starts early and its times are off; lengthen the dwell",
    )  # fmt: skip


def _kick(turns: tuple[Turn, ...], scene: Scene, port_khz: UFloat | float) -> Check:
    """Return whether fast steps arrive close enough although the port's bandwidth is uncertain."""
    known = isinstance(port_khz, UFloat) and port_khz.s > 0
    relative = port_khz.s / port_khz.n if isinstance(port_khz, UFloat) and known else U_PORT
    tau = time_constant_us(float(nominal_value(port_khz)))
    worst, name = 0.0, turns[0].name
    for turn in turns:
        move = turn.hop.transit.move
        if not move.kicked:
            continue
        for sign in (-2.0, 2.0):
            q = np.exp(-move.until_us / (tau / (1 + sign * relative)))
            missed = move.aim_v + (move.start_v - move.aim_v) * q - move.end_v
            off = abs(missed * scene.slope_mhz_per_v(move.end_v)) / scene.near_mhz(turn.place.line)
            if off > worst:
                worst, name = float(off), turn.name
    detail = (
        f"with the port's bandwidth 2 u ({200 * relative:.2g} %{'' if known else ', assumed'}) off, the fast step to "
        f"{name} misses by {worst:.2g} of what good light allows, limit 1"
    )
    cure = "what is missed dies away with the port's own time; measure the bandwidth, or wait for it"
    return Check("fast steps arrive", worst <= 1, detail if worst <= 1 else f"{detail}; {cure}")
