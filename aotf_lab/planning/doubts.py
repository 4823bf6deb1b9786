"""What stands against a line, though its set-point can be computed."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace

from uncertainties import UFloat

from aotf_lab.crystal import Efficiency, Tuning
from aotf_lab.errors import AotfLabError
from aotf_lab.estimation import Check
from aotf_lab.estimation.checks import z_check
from aotf_lab.planning.curves import Doubt
from aotf_lab.reading.session_file import LineFacts

__all__ = ["doubts", "drive_check", "label_checks", "suspects"]


def label_checks(
    lines: Iterable[LineFacts], found_nm: Mapping[str, UFloat], exchanged: Collection[str] = ()
) -> tuple[Check, ...]:
    """Return for each line that was found the check that its wavelength agrees with its label.

    That a line is among those whose labels were ``exchanged`` explains a disagreement, which is then no second failure.
    """
    checks = [
        (line.name, _label_check(line.name, found_nm[line.name], line.wavelength_nm, line.u_wavelength_nm))
        for line in lines
        if line.name in found_nm and line.wavelength_nm is not None
    ]
    return tuple(
        replace(check, passed=True, detail=f"explained by 'exchanged labels', which fails: {check.detail}")
        if name in exchanged and not check.passed
        else check
        for name, check in checks
    )


def _label_check(line: str, found_nm: UFloat, label_nm: float, u_label_nm: float) -> Check:
    gap = found_nm.n - label_nm
    u = (found_nm.s**2 + u_label_nm**2) ** 0.5
    what = f"found minus label ({label_nm:.1f} nm in vacuum)"
    cure = "the scan may be of another line, or the label is wrong"
    return z_check(f"label of line {line}", gap, u, what, "nm", cure)


def drive_check(own: Mapping[str, Efficiency], rated_w: float) -> Check:
    """Return the check that no reading of efficiency drove the crystal above its rating."""
    highest = {name: curve.range_w[1] for name, curve in own.items()}
    name, power = max(highest.items(), key=lambda item: item[1])
    detail = f"highest RF power while measuring: {power:.3g} W on line {name}; rated: {rated_w:g} W"
    cure = "the crystal was driven above its rating; do not go there again, and look at it before you go on"
    return Check("rated power", power <= rated_w, detail if power <= rated_w else f"{detail}; {cure}")


def suspects(accusations: Iterable[str], lines: Iterable[str]) -> dict[str, str]:
    """Return line -> place of the ``lines`` that an error or a failed check names as ``NAME (place)``.

    >>> suspects(["the labels of D (row 2) and E (row 3) seem to be exchanged"], ["A", "D", "E"])
    {'D': 'row 2', 'E': 'row 3'}
    """
    text = " ".join(accusations)
    named = {name: re.search(rf"(?<!\w){re.escape(name)} \(([^)]*)", text) for name in lines}
    return {name: found[1] for name, found in named.items() if found is not None}


def _accused(place: str) -> str:
    """Return what may be wrong with a line: its scan, or the row of a file in which wavelength and frequency stand."""
    if place.startswith("row "):
        return "its label or its scan seems wrong"
    return f"its wavelength or its frequency seems wrong at {place}"


def doubts(
    lines: Iterable[LineFacts],
    found_nm: Mapping[str, UFloat],
    tuning: Tuning | None,
    trouble: AotfLabError | None,
    checks: Iterable[Check],
    exchanged: Collection[str] = (),
) -> dict[str, Doubt]:
    """Return what stands against single lines: accused by the tuning fit, found far from its label, or not found.

    ``trouble`` is why there is no tuning curve, ``checks`` those of ``label_checks``, ``exchanged`` the lines whose
    labels were exchanged beyond doubt.
    """
    known = tuple(lines)
    failed = [c.detail for c in tuning.fit.failed if c.name == "line labels"] if tuning is not None else []
    accused = suspects([*failed, str(trouble or "")], [line.name for line in known])
    result = {name: Doubt(f"DOUBTFUL: {_accused(place)}", grave=True) for name, place in accused.items()}
    apart = {c.name for c in checks if not c.passed}
    for line in known:
        if f"label of line {line.name}" in apart:
            result[line.name] = Doubt("DOUBTFUL: it was found far from its label", grave=True)
        elif line.use == "find" and line.name not in found_nm:
            result.setdefault(line.name, Doubt("wavelength from its label only", grave=False))
    result |= dict.fromkeys(exchanged, Doubt("DOUBTFUL: its label seems to be exchanged", grave=True))
    return result
