"""The joint fit of several lines: one constant for all saturation powers, one peak efficiency per line.

P_sat = lambda^2 H / (2 M2 L) (Yariv, IEEE J. Quantum Electron. 9, 919 (1973), eq. 94): it goes with the
square of the wavelength as far as the figure of merit M2 is constant. It is not quite, since M2 holds the
sixth power of the index (same source): by the packaged dispersion of paratellurite that alone makes the
power of the wavelength 2.5 to 2.9 over the visible. So the exponent is a parameter with a weak prior.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from uncertainties import UFloat, nominal_value, std_dev

from aotf_lab.crystal.efficiency.law import QUARTER_PERIOD, drive_law, saturation_power
from aotf_lab.crystal.efficiency.one_line import Efficiency
from aotf_lab.estimation import Fit, Parameter, Problem, fit_problem, new_cause
from aotf_lab.estimation.problem import FloatArray

__all__ = ["EXPONENT", "REFERENCE_NM", "U_EXPONENT", "SharedFit", "fit_shared"]

REFERENCE_NM = 589.0
"""Wavelength at which the common constant is stated."""

EXPONENT, U_EXPONENT = 2.0, 0.5
"""P_sat goes with this power of the wavelength, and what is known of it beforehand (k = 1)."""


@dataclass(frozen=True)
class SharedFit:
    """The joint ``fit`` of ``lines``, in watts as the scope of the first line indicates them.

    Parameters: "rate" is 1 / P_sat at ``REFERENCE_NM``, "exponent" the power of the wavelength, "curvature_k"
    1 / eta_max of line number k; further ones stand for offsets and for scopes that differ.
    """

    lines: tuple[Efficiency, ...]
    problem: Problem
    fit: Fit

    @property
    def exponent_before(self) -> UFloat:
        """What was known of the exponent before the fit: the error that all that rests on it shares."""
        return next(p.prior for p in self.problem.parameters if p.name == "exponent" and p.prior is not None)

    def saturation_power_indicated_w(self, wavelength_nm: float) -> UFloat:
        """Return P_sat at ``wavelength_nm`` as the first line's scope indicates it."""
        found = self.fit.parameters
        return (wavelength_nm / REFERENCE_NM) ** found["exponent"] / found["rate"]

    def saturation_power_w(self, wavelength_nm: float) -> UFloat:
        """Return P_sat at ``wavelength_nm`` in true watts."""
        return self.saturation_power_indicated_w(wavelength_nm) * self.lines[0].power_scale

    def peak_efficiency(self, k: int) -> UFloat:
        """Return eta_max of line number ``k``."""
        return self.lines[k].drive.efficiency_scale / self.fit.parameters[f"curvature_{k}"]


def fit_shared(lines: Mapping[str, Efficiency], wavelengths_nm: Mapping[str, float]) -> SharedFit:
    """Fit all ``lines`` together, each already fitted alone, and return the ``SharedFit``.

    Raises ``FitError`` when the joint fit does not converge.
    """
    alone = tuple(lines.values())
    ratio = np.array([wavelengths_nm[name] / REFERENCE_NM for name in lines])
    counts = [len(e.drive.power_w) for e in alone]
    row = np.repeat(np.arange(len(alone)), counts)
    scales = _shared_errors([e.power_scale / alone[0].power_scale for e in alone], 1.0, "power_scale_to_first")
    offsets = _shared_errors([e.drive.power_offset for e in alone], 0.0, "power_offset_w")
    darks = _shared_errors([e.drive.dark_offset for e in alone], 0.0, "dark_offset")
    extra = (scales, offsets, darks)

    def model(power_w: FloatArray, rate: float, exponent: float, *rest: float) -> FloatArray:
        curvature = np.array(rest[: len(alone)])[row]
        scale, offset, dark = (kind.of_rows(rest[len(alone) :], extra, row) for kind in extra)
        local = rate * ratio[row] ** -exponent
        return drive_law((power_w + offset) * scale, QUARTER_PERIOD * local / curvature, curvature) - dark

    rate, curvatures = _start(alone, ratio)
    parameters = [Parameter("rate", rate, low=0.0), Parameter("exponent", EXPONENT, prior=_exponent_prior())]
    parameters += [Parameter(f"curvature_{k}", c, low=1.0) for k, c in enumerate(curvatures)]
    parameters += [p for kind in extra for p in kind.parameters]
    problem = Problem(
        model, tuple(parameters), *_joined(alone), "the efficiency readings of all lines",
        tuple(p for e in alone for p in e.drive.places),
    )  # fmt: skip
    fit = fit_problem(problem, thorough=False)  # each line's own start has seen every minimum
    kept = tuple(c for c in fit.checks if c.name != "limits")
    return SharedFit(alone, problem, replace(fit, checks=kept, u_known=all(e.fit.u_known for e in alone)))


def _exponent_prior() -> UFloat:
    return new_cause("P_sat against wavelength (weak prior)", U_EXPONENT, EXPONENT)


def _joined(alone: tuple[Efficiency, ...]) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return power, efficiency and their uncertainties (n,) of all lines; a power taken as exact gets next to none."""
    power = np.concatenate([e.problem.x for e in alone])
    efficiency = np.concatenate([e.problem.y for e in alone])
    u_efficiency = np.concatenate([np.asarray(e.problem.u_y) for e in alone])
    u_power = [1e-9 * e.problem.x.max() + 0 * e.problem.x if e.problem.u_x is None else e.problem.u_x for e in alone]
    return power, efficiency, u_efficiency, np.concatenate(u_power)


def _start(alone: tuple[Efficiency, ...], ratio: FloatArray) -> tuple[float, FloatArray]:
    """Return the rate at the reference wavelength and the curvatures (m,) near the joint minimum."""
    rates = [1 / saturation_power(e.fit.parameters["slope"], e.fit.parameters["curvature"]) for e in alone]
    at_reference = np.array([r.n for r in rates]) * ratio**EXPONENT
    weight = 1 / np.array([(r.s / r.n) ** 2 for r in rates])
    rate = float(np.exp(np.sum(weight * np.log(at_reference)) / weight.sum()))
    slopes = np.array([e.fit.values[0] for e in alone])
    return rate, np.maximum(QUARTER_PERIOD * rate * ratio**-EXPONENT / slopes, 1.001)


@dataclass(frozen=True)
class _Shared:
    """Errors of one kind, a parameter for each independent one.

    The error of line k is ``fixed[k]`` (m,) plus ``weights[k]`` (m, j) times the parameters: lines whose errors
    come from one cause, in whatever proportion, share a parameter.
    """

    neutral: float
    parameters: tuple[Parameter, ...]
    fixed: FloatArray
    weights: FloatArray

    def of_rows(self, values: tuple[float, ...], kinds: tuple[_Shared, ...], row: Any) -> FloatArray | float:
        """Return the error of each reading's line (n,), from the ``values`` of all ``kinds``."""
        if not self.parameters:
            return self.neutral
        first = sum(len(k.parameters) for k in kinds[: next(i for i, k in enumerate(kinds) if k is self)])
        own = np.array(values[first : first + len(self.parameters)])
        return np.asarray((self.fixed + self.weights @ own)[row])


def _shared_errors(errors: list[Any], neutral: float, name: str) -> _Shared:
    basis: list[UFloat] = []
    rows: list[tuple[float, list[float]]] = []
    for error in errors:
        if error is None or std_dev(error) < 1e-12:
            rows.append((neutral, []))
            continue
        share, rest = _in_terms_of(basis, error)
        if rest > 1e-6:
            basis.append(error)
            share = [*[0.0] * (len(basis) - 1), 1.0]
        rows.append((nominal_value(error) - sum(s * b.n for s, b in zip(share, basis, strict=False)), share))
    weights = np.zeros((len(errors), len(basis)))
    for k, (_, share) in enumerate(rows):
        weights[k, : len(share)] = share
    parameters = tuple(Parameter(f"{name}_{i}", b.n, prior=b) for i, b in enumerate(basis))
    return _Shared(neutral, parameters, np.array([fixed for fixed, _ in rows]), weights)


def _in_terms_of(basis: list[UFloat], error: UFloat) -> tuple[list[float], float]:
    """Return the weights with which ``basis`` makes ``error``, and the share of its u that is left over."""
    if not basis:
        return [], 1.0
    parts = [e.error_components() for e in (*basis, error)]
    causes = list({cause: None for part in parts for cause in part})
    # the sign of a component is that of the derivative: error_components gives sizes only
    signed = [[np.sign(e.derivatives.get(c, 0.0)) * p.get(c, 0.0) for c in causes]
              for e, p in zip((*basis, error), parts, strict=True)]  # fmt: skip
    columns, target = np.array(signed[:-1], dtype=float).T, np.array(signed[-1], dtype=float)
    share = np.linalg.lstsq(columns, target, rcond=None)[0]
    return share.tolist(), float(np.linalg.norm(target - columns @ share) / np.linalg.norm(target))
