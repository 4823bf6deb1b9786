"""From instruments and a target to the readings of a session, each the best for its cost."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.given import given, given_number
from aotf_lab.physics.coupled_waves import detuning_for_light
from aotf_lab.planning.next_reading.design import learnt, learnt_exactly
from aotf_lab.planning.session_plan.joint import Joint, joint_unknowns
from aotf_lab.planning.session_plan.powers import PowerPlan, plan_powers
from aotf_lab.planning.session_plan.result import PlannedScan, SessionPlan
from aotf_lab.planning.session_plan.scan import ScanShape, best_scan
from aotf_lab.planning.session_plan.typical import Prospect
from aotf_lab.reading.instruments import Instruments

__all__ = ["plan_session"]

_FACTOR_95 = 1.96
_FEWEST = 9
_REFERENCE_EVERY = 5
_PLACES = 41
_SCAN_READINGS = (20, 30, 42, 62)
_MOST = 400
_SHARP = 4
_EXACT = 1e-6
_NEAR = 0.9
"""A line whose floor is nearer to the target than this would take readings without end: none are spent on it."""


def plan_session(
    instruments: Instruments, prospect: Prospect, *, light_lost_percent: float = 1.0, u_saturation: float | None = None
) -> SessionPlan:
    """Return how many readings, and where, bring every line within ``light_lost_percent`` of its most light.

    That is the loss at the 95 % limit of the setting's error. Starts from nine voltages over the oscillator's range,
    up and down in turn, and adds the reading (a voltage from either side, a scan of a line) that takes most off the
    worst lines for its cost; the curve is fitted anew to the plan at its end. With ``u_saturation`` (relative, k = 1)
    the powers for a line's saturation power are planned as well. The prediction rests on a typical oscillator and on
    the published dispersion, and holds as far as ``prospect`` is right: on oscillators that bend otherwise the u
    reached was 1.1 to 1.2 times the promised in the median (tests/benchmarks/session_plan.py).

    Where no number of readings meets the target, ``limits`` names line, what is left and by which shared cause. Raises
    ``AotfLabError`` for a target outside 0 to 50 % and for a line beyond the oscillator.
    """
    given(instruments, Instruments, "instruments", "the bench's Instruments", "take session.facts.instruments")
    given(prospect, Prospect, "prospect", "a Prospect", "write Prospect({name: ProspectLine(nm, u_nm)})")
    light_lost_percent = given_number(light_lost_percent, "light_lost_percent", "%")
    if u_saturation is not None:
        u_saturation = given_number(u_saturation, "u_saturation", above=0)
    if not 0 < light_lost_percent <= 50:
        raise AotfLabError(
            "target of light lost", found=light_lost_percent, allowed="above 0 to 50 %", cure="ask for 1 %"
        )
    allowed = float(detuning_for_light(1 - 0.01 * light_lost_percent)) * prospect.fwhm_mhz / _FACTOR_95
    plans = [_Planner(instruments, prospect, allowed, best_scan(instruments, prospect, n)) for n in _SCAN_READINGS]
    for planner in plans:
        planner.run()
    best = min(plans, key=lambda p: (not p.reached, p.cost if p.reached else p.worst))
    powers = None if u_saturation is None else plan_powers(instruments, prospect, u_saturation)
    return best.result(light_lost_percent, powers)


@dataclass
class _Planner:
    """One plan with scans of one shape, grown reading by reading."""

    instruments: Instruments
    prospect: Prospect
    allowed: float
    scan: ScanShape
    drive_v: list[float] = field(default_factory=list)
    side: list[float] = field(default_factory=list)
    scans: Counter[str] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        self.drive_v = np.linspace(*self.prospect.range_v, _FEWEST).tolist()
        self.side = [0.5 if k % 2 == 0 else -0.5 for k in range(_FEWEST)]
        self.joint, self.covariance = self._anew()

    @property
    def cost(self) -> int:
        """Readings in all."""
        return len(self.drive_v) + self.scan.readings * sum(self.scans.values())

    @property
    def worst(self) -> float:
        """The largest u of a setting over the allowed one."""
        return float(np.max(self.joint.u_settings(self.covariance))) / self.allowed

    @property
    def reached(self) -> bool:
        """Whether every line is within the target."""
        return self.worst <= 1.0

    def _anew(self) -> tuple[Joint, FloatArray]:
        """Return the unknowns with the curve fitted to all voltages of the plan, and the covariance."""
        joint = joint_unknowns(self.instruments, self.prospect, np.array(self.drive_v), np.array(self.side))
        covariance = joint.covariance
        for name, n in self.scans.items():
            covariance = learnt(covariance, joint.peaks[joint.names.index(name)], self.scan.u_peak_mhz**2 / n)
        return joint, covariance

    def run(self) -> None:
        """Add readings until the target is met, no reading helps, or there are too many."""
        within = self.floors() <= _NEAR * self.allowed
        if not within.any():
            return
        while self.cost < _MOST:
            u = self.joint.u_settings(self.covariance)[within]
            if np.all(u <= self.allowed):
                self.joint, self.covariance = self._anew()
                if np.all(self.joint.u_settings(self.covariance)[within] <= self.allowed):
                    return
            self._add(within)

    def _add(self, within: NDArray[np.bool_]) -> None:
        """Add the reading that takes most off the lines ``within`` reach, for its cost; the worst count most."""
        rows, variances, costs, what = self._candidates()
        reach = rows @ self.covariance
        total = np.einsum("ij,ij->i", reach, rows) + variances
        gains = (reach @ self.joint.settings.T) ** 2 / total[:, None]
        now = self.joint.u_settings(self.covariance) ** 2
        before, after = (np.sum((s[..., within] / self.allowed**2) ** _SHARP, axis=-1) for s in (now, now - gains))
        best = int(np.argmax((np.log(before) - np.log(after)) / costs))
        self.covariance = learnt(self.covariance, rows[best], float(variances[best]))
        place = what[best]
        if isinstance(place, str):
            self.scans[place] += 1
        else:
            self.drive_v.append(place[0])
            self.side.append(place[1])

    def _candidates(self) -> tuple[FloatArray, FloatArray, FloatArray, list[tuple[float, float] | str]]:
        """Return the readings that can be added: rows (n, k), variances, costs (n,), and what each is."""
        volts = np.repeat(np.linspace(*self.prospect.range_v, _PLACES), 2)
        side = np.tile([0.5, -0.5], _PLACES)
        names = [n for n, line in self.prospect.lines.items() if line.scannable]
        peaks = self.joint.peaks[[self.joint.names.index(n) for n in names]]
        rows = np.concatenate([self.joint.oscillator_rows(volts, side), peaks])
        u = np.concatenate(
            [self.joint.oscillator_u(self.instruments, volts), np.full(len(names), self.scan.u_peak_mhz)]
        )
        costs = np.concatenate([np.ones(len(volts)), np.full(len(names), float(self.scan.readings))])
        what: list[tuple[float, float] | str] = [*zip(volts.tolist(), side.tolist(), strict=True), *names]
        return rows, u**2, costs, what

    def floors(self) -> FloatArray:
        """Return the u (l,) of each setting that any number of readings leaves, in MHz."""
        rows, variances, _, _ = self._candidates()
        return self.joint.u_settings(learnt_exactly(self.joint.covariance, rows, _EXACT * variances))

    def limits(self) -> dict[str, tuple[float, str]]:
        """Return for each line beyond the target, whatever the readings, what is left (MHz) and by which cause."""
        found = {}
        for k, (name, left) in enumerate(zip(self.joint.names, self.floors(), strict=True)):
            if left > self.allowed:
                side = float(self.joint.u_side_mhz[k])
                wavelength = f"stated wavelength of line {name}, which is not scanned"
                found[name] = (float(left), "backlash of the pot" if 2 * side**2 > left**2 else wavelength)
        return found

    def result(self, light_lost_percent: float, powers: PowerPlan | None) -> SessionPlan:
        """Return the plan as it stands."""
        order = np.argsort(self.drive_v, kind="stable")
        pairs = [(self.drive_v[k], "up" if self.side[k] > 0 else "down") for k in order]
        up = [v for v, s in pairs if s == "up"]
        down = [v for v, s in pairs if s == "down"][::-1]
        scans = tuple(
            PlannedScan(n, float(f), self.scan.width_mhz, self.scan.readings, self.scans[n], self.scan.u_peak_mhz)
            for n, f in zip(self.joint.names, self.joint.line_mhz, strict=True)
            if self.scans[n]
        )
        u = dict(zip(self.joint.names, self.joint.u_settings(self.covariance).tolist(), strict=True))
        revisits = -(-len(pairs) // _REFERENCE_EVERY)
        middle = float(np.median(self.joint.line_v))
        return SessionPlan(
            tuple(up), tuple(down), middle, revisits, scans, powers, u, self.allowed, light_lost_percent,
            self.prospect.fwhm_mhz, self.limits(),
        )  # fmt: skip
