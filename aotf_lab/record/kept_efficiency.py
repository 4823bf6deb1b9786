"""Light against RF power of a crystal's lines, kept: what of it is no number with a u, and the curves out of both."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from uncertainties import UFloat, nominal_value

from aotf_lab.crystal import EfficiencyCurve, EfficiencyLines
from aotf_lab.crystal.efficiency.curve import SLOPE_ONLY
from aotf_lab.crystal.efficiency.line_curves import LineCurves
from aotf_lab.errors import AotfLabError
from aotf_lab.estimation import CommonError
from aotf_lab.planning.safe_drive import true_power
from aotf_lab.record.stored import CauseBook, StoredNumbers

__all__ = [
    "DrivenLine", "KeptEfficiency", "efficiency_numbers", "kept_efficiency", "line_curves", "required_numbers",
]  # fmt: skip

_LAW = ("law saturation_w", "law exponent", "law reach")
"""P_sat (true W) at the reference wavelength, its power of the wavelength, the furthest drive over P_sat."""

_ERRORS: Mapping[str, Literal["relative", "offset"]] = {
    "relative power error ": "relative",
    "offset power error ": "offset",
}
"""How the numbers of the power scale's own errors begin -> the kind of these errors."""


@dataclass(frozen=True)
class DrivenLine:
    """A line whose light was measured against RF power.

    ``wavelength_nm`` is in vacuum, None where unknown; ``driven_w`` is the largest power as the scope indicated it;
    ``level`` says how much the line's own readings show (see ``Efficiency``).
    """

    wavelength_nm: float | None
    driven_w: float
    level: str


@dataclass(frozen=True)
class KeptEfficiency:
    """What stands beside the numbers of the efficiency: ``level`` of all lines together, and each measured line.

    ``missing`` says why there is none; the rest is then empty.
    """

    level: str = SLOPE_ONLY
    lines: Mapping[str, DrivenLine] = field(default_factory=dict)
    missing: str = ""


def kept_efficiency(found: EfficiencyLines | None, missing: str) -> KeptEfficiency:
    """Return what is to be kept beside ``efficiency_numbers``; ``missing`` says why nothing was ``found``."""
    if found is None:
        return KeptEfficiency(missing=missing or "efficiency against RF power was not measured")
    lines = {n: DrivenLine(found.wavelengths_nm.get(n), c.range_w[1], c.level) for n, c in found.own.items()}
    return KeptEfficiency(found.level, lines)


def efficiency_numbers(
    found: EfficiencyLines, wavelengths_nm: Mapping[str, UFloat | float | None]
) -> Iterator[tuple[str, UFloat | float]]:
    """Yield name and number: each line's, then what the lines share and the errors of the power scale, by name.

    The same to the last bit whatever was asked of ``found`` before.
    """
    found = _anew(found)
    for name in dict.fromkeys([*wavelengths_nm, *found.own]):
        yield from _line_numbers(found, name, wavelengths_nm.get(name))
    yield from zip(_LAW, (found.curves.at_reference_w, found.exponent, found.reach), strict=True)
    for start, kind in _ERRORS.items():
        own = [error for error in found.common_errors if error.kind == kind]
        for name in dict.fromkeys(error.name for error in own):
            alike = [error for error in own if error.name == name]
            yield f"{start}{name}", true_power(1.0, alike) - 1.0


def _anew(found: EfficiencyLines) -> EfficiencyLines:
    """Return ``found`` with its curves to be made anew, out of numbers whose derivatives are all gathered.

    A number gathers its derivatives when its u is first asked for. What is computed from it before that and after it
    rounds its own differently.
    """
    fits = [found.shared.fit, *(own.fit for own in found.own.values())]
    scales = [n for own in found.own.values() for n in (own.power_scale, own.drive.efficiency_scale)]
    curves = [n for own in found.own.values() for n in (own.slope_per_w, own.curvature)]
    for number in [*(n for fit in fits for n in fit.parameters.values()), *scales, *curves, found.reach]:
        if isinstance(number, UFloat):
            _ = number.derivatives
    return replace(found)


def _line_numbers(found: EfficiencyLines, name: str, nm: UFloat | float | None) -> Iterator[tuple[str, UFloat]]:
    """Yield what the readings of this or of other lines tell of a line."""
    try:
        if name in found.own:
            curve = found.line(name)
        elif nm is not None:
            curve = found.at(float(nominal_value(nm)))
        else:
            return
    except AotfLabError:  # too far from the measured lines, or no drive went high enough: not known
        return
    if curve.level != SLOPE_ONLY:
        yield f"light {name}", curve.peak_efficiency
        yield f"saturation_w {name}", curve.saturation_power_w
    if curve is found.own.get(name):
        yield f"slope_per_w {name}", curve.slope_per_w
        yield f"curvature {name}", curve.curvature


def line_curves(kept: KeptEfficiency, numbers: StoredNumbers, book: CauseBook) -> LineCurves:
    """Return every line's curve, on the variables of ``book``, as those that were kept."""
    wanted = set(required_numbers(kept))
    own = [name for name in numbers.names if name in wanted or name.startswith(tuple(_ERRORS))]
    rows = np.eye(len(numbers))[[numbers.place(name) for name in own]]
    known = dict(zip(own, numbers.combine(rows, book), strict=True))
    errors = tuple(_errors(known))
    scale = true_power(1.0, [error for error in errors if error.kind == "relative"])
    alone = {
        name: EfficiencyCurve(
            name, line.wavelength_nm, known[f"slope_per_w {name}"], known[f"curvature {name}"], scale, errors,
            (0.0, line.driven_w), line.level,
        )
        for name, line in kept.lines.items()
        if f"slope_per_w {name}" in known
    }  # fmt: skip
    placed = {name: line.wavelength_nm for name, line in kept.lines.items() if line.wavelength_nm is not None}
    at_reference, exponent, reach = (known[name] for name in _LAW)
    return LineCurves(
        {name: line.driven_w for name, line in kept.lines.items()}, placed, kept.level, reach, at_reference, exponent,
        {n: known[f"light {n}"] for n in placed if n not in alone}, alone, scale, errors,
    )  # fmt: skip


def _errors(known: Mapping[str, UFloat]) -> Iterator[CommonError]:
    for start, kind in _ERRORS.items():
        for name, number in known.items():
            if name.startswith(start):
                yield CommonError(name.removeprefix(start), "rf_power_w", kind, number)


def required_numbers(kept: KeptEfficiency) -> Iterator[str]:
    """Yield the names of the numbers without which ``line_curves`` cannot answer."""
    if kept.missing:
        return
    yield from _LAW
    for name, line in kept.lines.items():
        shared = kept.level != SLOPE_ONLY and line.wavelength_nm is not None
        yield from (f"light {name}",) if shared else (f"slope_per_w {name}", f"curvature {name}")
