"""From curves and a wish to the ranked readings that could be made next."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from aotf_lab.driver.level.numbers import shared_numbers
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.given import given, given_list
from aotf_lab.planning.curves import Curves, HasCurves, curves_of
from aotf_lab.planning.next_reading.calibrations import calibrations
from aotf_lab.planning.next_reading.design import after_each, learnt, learnt_exactly
from aotf_lab.planning.next_reading.efficiency import efficiency_readings
from aotf_lab.planning.next_reading.level import level_readings
from aotf_lab.planning.next_reading.lines import line_readings
from aotf_lab.planning.next_reading.look import CALIBRATION, Candidate, Look
from aotf_lab.planning.next_reading.oscillator import oscillator_readings
from aotf_lab.planning.next_reading.result import Choice, Floor, NextReadings
from aotf_lab.planning.next_reading.wanted import Wanted, all_settings

__all__ = ["next_readings"]

_MANY = 1e9
_TOUCHES = 1e-6
ANY = "any reading"


def next_readings(
    source: Curves | HasCurves,
    wanted: Wanted | Sequence[Wanted] | None = None,
    *,
    candidates: Iterable[Candidate] | None = None,
) -> NextReadings:
    """Return which reading would shrink the uncertainty of what is ``wanted`` most, and what no reading shrinks.

    ``wanted`` is made by ``setting_of``, ``saturation_of``, ``power_of_safe_supply`` or ``wavelength_of``, or is any
    ``Wanted`` of a number made from the same curves; None stands for the settings of all lines. Several are weighed
    by (u / scale)^2. ``candidates`` replaces the readings that are tried by default: every kind that the curves know.

    Predicted from the fits, to first order, as if the fits' forms and their scatter stay what they are. Causes that a
    reading shares with those already made (time base, pad, lag) stay as they are, whatever the number of readings.
    Raises ``AotfLabError`` for nothing wanted, or something exact.
    """
    curves, _ = curves_of(source)
    goals = _goals(source, wanted)
    offered = list(_all(curves) if candidates is None else candidates) + list(calibrations(goals, curves.vco))
    space = _Space(goals, offered)
    choices = [space.choice(c) for c in offered]
    useful = [c for c in choices if c.gain > _TOUCHES]
    read = sorted((c for c in useful if c.candidate.kind != CALIBRATION), key=lambda c: -c.gain_per_reading)
    calibrated = sorted((c for c in useful if c.candidate.kind == CALIBRATION), key=lambda c: -c.gain)
    return NextReadings(goals, tuple(read), tuple(calibrated), tuple(space.floors(useful)))


def _goals(source: Curves | HasCurves, wanted: Wanted | Sequence[Wanted] | None) -> tuple[Wanted, ...]:
    allowed, cure = "quantities wanted, in a list", 'make one with setting_of(session, "D") or its like'
    if wanted is None:
        goals = all_settings(source)
    else:
        several = [wanted] if isinstance(wanted, Wanted) else given_list(wanted, "wanted", allowed, cure)
        goals = tuple(given(goal, Wanted, "one of wanted", "a quantity wanted", cure) for goal in several)
    exact = [w.name for w in goals if not w.value.s > 0]
    if not goals or exact:
        raise AotfLabError(
            "nothing to learn", found=Said(f"{exact[0]}, without uncertainty" if exact else "no quantity wanted"),
            allowed="quantities with an uncertainty", cure="name a setting, a saturation power or a wavelength",
        )  # fmt: skip
    return goals


def _all(curves: Curves) -> Iterator[Candidate]:
    if curves.vco is not None:
        yield from oscillator_readings(curves.vco)
    yield from line_readings(curves)
    yield from efficiency_readings(curves)
    if curves.level is not None:
        yield from level_readings(curves.level)


class _Space:
    """Wanted quantities and readings as rows over the independent causes of error, each of unit variance."""

    def __init__(self, goals: tuple[Wanted, ...], offered: Sequence[Candidate]) -> None:
        looks = [look for c in offered for look in c.looks]
        numbers = shared_numbers([*(g.value for g in goals), *(look.shown for look in looks)])
        self.goals, self.tags = goals, [c.tag or "other" for c in numbers.causes]
        self.wanted = numbers.factor[: len(goals)]
        self.rows = {id(look): row for look, row in zip(looks, numbers.factor[len(goals) :], strict=True)}
        self.now = np.eye(len(numbers.causes))
        self.scales = np.array([g.scale for g in goals])

    def u(self, covariance: FloatArray) -> FloatArray:
        """Return the standard uncertainties (w,) of the wanted."""
        square = np.einsum("ij,jk,ik->i", self.wanted, covariance, self.wanted)
        return np.asarray(np.sqrt(np.clip(square, 0.0, None)))

    def choice(self, candidate: Candidate) -> Choice:
        """Return what ``candidate`` would do."""
        before = self.u(self.now)
        if len(candidate.looks) == 1:
            (look,) = candidate.looks
            left = after_each(self.now, self.wanted, self.rows[id(look)][None, :], np.array([look.variance()]))[0]
            after = np.sqrt(np.clip(left, 0.0, None))
        else:
            after = self.u(self._after(self.now, candidate.looks))
        fell = (before**2 - after**2) / self.scales**2
        gain = 1.0 - float(np.linalg.norm(after / self.scales) / np.linalg.norm(before / self.scales))
        names = [g.name for g in self.goals]
        told, then = (dict(zip(names, u.tolist(), strict=True)) for u in (before, after))
        return Choice(candidate, told, then, gain, names[int(np.argmax(fell))])

    def floors(self, choices: Sequence[Choice]) -> Iterator[Floor]:
        """Yield what no number of readings of each kind lessens, of the quantity that is worst known; then of all."""
        kinds = dict.fromkeys(c.candidate.kind for c in choices if c.candidate.kind != CALIBRATION)
        for kind in kinds:
            yield self._floor(kind, [c.candidate for c in choices if c.candidate.kind == kind])
        yield self._floor(ANY, [c.candidate for c in choices if c.candidate.kind != CALIBRATION])

    def _floor(self, kind: str, candidates: Sequence[Candidate]) -> Floor:
        looks = [look for c in candidates for look in c.looks]
        rows = np.array([self.rows[id(look)] for look in looks]).reshape(len(looks), len(self.tags))
        left = learnt_exactly(self.now, rows, np.array([look.variance(_MANY) for look in looks]))
        before, after = self.u(self.now), self.u(left)
        worst = int(np.argmax(after / self.scales))
        shares: dict[str, float] = {}
        for tag, part in zip(self.tags, self.wanted[worst] * (left @ self.wanted[worst]), strict=True):
            # of the lines' scatter repeats took that of frequency: the stated wavelengths are left
            stated = tag == "scatter of the lines" or tag.startswith("wavelength of line ")
            cause = "error of the anchors' stated wavelengths" if stated else tag
            shares[cause] = shares.get(cause, 0.0) + float(part)
        cause = max(shares, key=lambda t: shares[t])
        return Floor(kind, self.goals[worst].name, float(before[worst]), float(after[worst]), cause)

    def _after(self, covariance: FloatArray, looks: Sequence[Look]) -> FloatArray:
        for look in looks:
            covariance = learnt(covariance, self.rows[id(look)], look.variance())
        return covariance
