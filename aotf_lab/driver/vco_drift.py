"""What the readings cannot tell, or only half tell, of a drift: a one-way sweep, and the drift's bend."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from aotf_lab.driver.vco_table import VcoTable
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.smooth.curve import SmoothFit

__all__ = [
    "BEND_SHARE",
    "UNTOLD_MHZ",
    "bend_shapes",
    "goes_one_way",
    "held_near_zero",
    "same_voltage_v",
    "untold_at_nodes",
]

UNTOLD_MHZ = 0.1
"""Standard uncertainty of the drift over a one-way run, of which the readings say nothing (common practice, no source).

Some hundred kHz is what an oscillator of this kind moves while it warms up.
"""

BEND_SHARE = 0.25
"""Standard uncertainty of a drift's bend before any reading, as a share of the drift (common practice, no source).

A parabola that departs from its chord by this share has lost all of its mean slope at one end of the
run; an exponential that does so runs for two of its time constants.
"""

_RATES = (2.0, 4.0, 8.0, 16.0)
"""Lengths of the run in time constants that are tried for the bend, beside a parabola (a very slow exponential)."""


def same_voltage_v(table: VcoTable) -> float:
    """Return how near two settings must be to count as one voltage (V)."""
    return 3 * max(float(np.median(table.u_drive_v)), 1e-4)


def goes_one_way(table: VcoTable, moment: FloatArray) -> bool:
    """Return whether the voltages, in the order of ``moment`` (n,), only rise or only fall.

    Then no voltage was left and visited again, and a drift has the shape of a change of the curve.
    """
    steps = np.diff(table.drive_v[np.argsort(moment, kind="stable")])
    near = same_voltage_v(table)
    return bool(np.all(steps > -near) or np.all(steps < near))


def bend_shapes(moment: FloatArray) -> dict[str, FloatArray]:
    """Return by name the shapes (n,) that a drift may have beside a straight line in ``moment`` (n,).

    Each is 0 at the last reading, for which the curve stands, and changes by 1 over the run.
    """
    t = (moment - np.min(moment)) / np.ptp(moment)
    shapes = {"a parabola": t * (1 - t)}
    for rate in _RATES:
        shapes[f"an exponential, time constant 1/{rate:.0f} of the run"] = np.expm1(-rate * t) / np.expm1(-rate) - t
    return {name: (shape - shape[-1]) / np.ptp(shape) for name, shape in shapes.items()}


def untold_at_nodes(fit: SmoothFit, table: VcoTable, moment: FloatArray) -> FloatArray:
    """Return what one standard uncertainty of an untold drift does to all values of ``fit`` (p,), in MHz.

    Linear in ``moment`` (n,) along the run and zero at the last reading, for which the curve stands.
    """
    order = np.argsort(table.drive_v, kind="stable")
    there = np.interp(fit.nodes, table.drive_v[order], moment[order])
    effect = np.zeros(len(fit.values))
    effect[: len(fit.nodes)] = UNTOLD_MHZ * (there - moment[-1]) / np.ptp(moment)
    return effect


def held_near_zero(fit: SmoothFit, place: int, u: float, design: FloatArray) -> tuple[SmoothFit, FloatArray]:
    """Return ``fit`` with value ``place`` known beforehand to be 0 +- ``u``, and what that doubt does to all values.

    ``design`` (n, p) makes the readings out of the values. This is the usual update of a linear
    estimate by one more observation (a Kalman step); the second result (p,) is the effect of one
    standard uncertainty of that observation, which is not in the covariances of the first.
    """
    covariance = fit.scatter + fit.form
    gain = covariance[:, place] / (covariance[place, place] + u**2)
    keep = np.eye(len(gain))
    keep[:, place] -= gain
    change = -gain * fit.values[place]
    held = replace(
        fit,
        values=fit.values + change,
        scatter=keep @ fit.scatter @ keep.T,
        form=keep @ fit.form @ keep.T,
        residuals=fit.residuals - design @ change / fit.spread,
    )
    return held, gain * u
