"""The fit of all edges of one trace at once: two levels, one rise, one fall, the middle of each edge.

Blocks of samples are averaged where there are many per edge; what that adds to the variance of the edge is taken off.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from aotf_lab.estimation import Fit, Parameter, Problem, fit_problem
from aotf_lab.physics.edges import RISE_PER_DEVIATION, edge_behind_poles
from aotf_lab.timing.edge.noise import TraceNoise, rounding_step_v, trace_noise
from aotf_lab.timing.edge.steps import Levels, find_steps
from aotf_lab.timing.edge.trace import FloatArray, block_means
from aotf_lab.timing.numbers import Number, nominal

__all__ = ["FittedSteps", "fit_steps"]

_BLOCKS_PER_RISE = 16
_CLEAR = 1.6
"""How many rise times off the middle of an edge a plateau begins."""


@dataclass(frozen=True)
class FittedSteps:
    """The edges of one channel: ``time_us``, ``value_v`` and ``expected_v`` (n,) of the blocks, and the fit."""

    time_us: FloatArray
    value_v: FloatArray
    expected_v: FloatArray
    levels: Levels
    noise: TraceNoise
    fit: Fit = field(repr=False)
    block_us: float = 0.0

    def centre(self, k: int) -> UFloat:
        """Return the middle of edge ``k``, without the lag of the poles."""
        return self.fit.parameters[f"edge_{k + 1}_us"]


def fit_steps(time_us: FloatArray, value_v: FloatArray, poles_us: Mapping[str, Number], what: str) -> FittedSteps:
    """Fit the edges of one channel behind single poles ``poles_us`` (name -> time constant in us).

    Raises ``FitError`` where there is no edge, ``ReadingsError`` where the plateaus are too short.
    """
    levels = find_steps(time_us, value_v, what)
    step = float(time_us[1] - time_us[0])
    rise = float(np.median([s.rise_us for s in levels.steps]))
    size = max(int(rise / (_BLOCKS_PER_RISE * step)), 1)
    rounding = rounding_step_v(value_v)
    t, y = block_means(time_us, size), block_means(value_v, size)
    noise = trace_noise(y, _plateaus(t, levels), rounding if size == 1 else 0.0)
    if size > 1 and rounding > 0:
        fine = trace_noise(value_v, _plateaus(time_us, levels), rounding)
        if fine.rounded:  # steps that do not average out
            noise = TraceNoise(fine.u_v, np.zeros(0), fine.u_v, rounding, noise.samples)
    uncertain = {n: p for n, p in poles_us.items() if isinstance(p, UFloat) and p.s > 0}
    exact = tuple(nominal(p) for n, p in poles_us.items() if n not in uncertain)
    model = _EdgeModel(levels, uncertain, exact, step**2 * (size**2 - 1) / 12.0, noise)
    problem = Problem(
        model, model.parameters(), t, noise.whiten(y),
        np.full(len(y) - len(noise.weights), noise.innovation_v), None, what,
    )  # fmt: skip
    fit = fit_problem(problem)
    return FittedSteps(t, y, model.course(t, *fit.values), levels, noise, fit, size * step)


def _plateaus(time_us: FloatArray, levels: Levels) -> Sequence[NDArray[np.int_]]:
    """Return runs of row numbers outside of the edges."""
    off = np.ones(len(time_us), dtype=bool)
    for s in levels.steps:
        clear = max(_CLEAR * s.rise_us, 3.0 * float(time_us[1] - time_us[0]))
        off &= (time_us < s.centre_us - clear) | (time_us > s.centre_us + 1.5 * clear)
    rows = np.flatnonzero(off)
    return np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1) if len(rows) else []


@dataclass(frozen=True)
class _EdgeModel:
    """Two levels, one rise and one fall, and the middles of edges, behind poles; whitened as the readings are.

    Values in order: low, step, rise and/or fall, the middles, the time constants of ``uncertain`` poles. ``exact`` are
    those of known ones; ``block_variance`` (us^2) is what the averaging over a block adds to the edge's own.
    """

    levels: Levels
    uncertain: Mapping[str, UFloat]
    exact: tuple[float, ...]
    block_variance: float
    noise: TraceNoise

    @property
    def ways(self) -> tuple[str, ...]:
        """The names of the times that the trace shows."""
        rising = {s.rising for s in self.levels.steps}
        return tuple(n for n, way in (("rise_us", True), ("fall_us", False)) if way in rising)

    def parameters(self) -> tuple[Parameter, ...]:
        """Return the parameters with their first guesses."""
        low, step = self.levels.low_v, self.levels.high_v - self.levels.low_v
        lag = sum(self.exact) + sum(p.n for p in self.uncertain.values())
        named = [Parameter("low_v", low if abs(low) > 1e-3 * step else 1e-3 * step), Parameter("step_v", step)]
        for way in self.ways:
            guess = float(np.median([s.rise_us for s in self.levels.steps if s.rising == (way == "rise_us")]))
            slow = max(guess**2 - (2.2 * lag) ** 2, 0.09 * guess**2) ** 0.5
            named.append(Parameter(way, slow, 0.02 * guess, 5.0 * guess))
        for k, s in enumerate(self.levels.steps, start=1):
            named.append(Parameter(f"edge_{k}_us", s.centre_us - lag))
        for name, tau in self.uncertain.items():
            named.append(Parameter(name, tau.n, 1e-3 * tau.n, 10.0 * tau.n, tau))
        return tuple(named)

    def course(self, time_us: FloatArray, low: float, step: float, *rest: float) -> FloatArray:
        """Return the volts (n,) at ``time_us``."""
        ways, count = self.ways, len(self.levels.steps)
        times = dict(zip(ways, rest[: len(ways)], strict=True))
        centres = rest[len(ways) : len(ways) + count]
        poles = (*self.exact, *rest[len(ways) + count :])
        share = np.full(len(time_us), 0.0 if self.levels.steps[0].rising else 1.0)
        for edge, centre in zip(self.levels.steps, centres, strict=True):
            own = times["rise_us" if edge.rising else "fall_us"] / RISE_PER_DEVIATION
            course = edge_behind_poles(time_us - centre, (own**2 + self.block_variance) ** 0.5, poles)
            share += course if edge.rising else -course
        return np.asarray(low + step * share)

    def __call__(self, time_us: FloatArray, *values: float) -> FloatArray:
        return self.noise.whiten(self.course(time_us, *values))
