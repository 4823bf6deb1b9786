"""From spots on a screen to the separation of the orders, and to what it says of the acoustic velocity.

Outside a crystal with parallel faces the orders part by wavelength f cos(sound to face) / v (``physics.deflection``). A
wedged exit face adds a prism: from ONE mark, a lean of 1 deg in a TeO2 filter moves the colours of 450 to 671 nm by
2 mrad against each other, and one of 3.9 deg brings them together to 0.05 mrad, whatever v is. Three fits are
compared: each colour for itself, all by one v, all at one angle.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pandas as pd
from uncertainties import UFloat

from aotf_lab.crystal.angles.angles import Angles, Kind, in_m_s
from aotf_lab.crystal.angles.table import (
    SpotTable,
    law_model,
    marks,
    per_colour_model,
    spot_table,
    wavelength_parameters,
)
from aotf_lab.crystal.light_rows import through
from aotf_lab.estimation import Check, Fit, Parameter, Problem, fit_problem, new_cause
from aotf_lab.estimation.checks import chi2_limit, z_limit
from aotf_lab.estimation.problem import FloatArray, Model
from aotf_lab.reading.readings import Readings

__all__ = ["fit_angles"]

U_FACES = 0.015
"""Relative standard uncertainty of v from exit faces not known to be parallel: leans of up to 5 deg move it by -0.4 to
3 % seen from each colour's own undiffracted spot, and those that do more from one mark show as another law."""
U_SQUARE = 0.001
"""The same with parallel faces, by light that is a degree off the normal: 0.05 to 0.1 %."""
SOUND_TO_FACE_DEG = (5.0, 3.0)
"""Angle of the sound's wave vector to the exit face, and its u, where not stated: that of visible TeO2 filters."""


def fit_angles(
    readings: Readings | pd.DataFrame,
    wavelength_nm: Mapping[str, UFloat | float] | UFloat | float | None = None,
    *,
    velocity_m_s: UFloat | float | None = None,
    sound_to_face_deg: UFloat | float | None = None,
    parallel_faces: bool = False,
    own_marks: bool = False,
) -> Angles:
    """Fit the spots of one or several colours and return the ``Angles``.

    ``readings`` has ``spot_mm`` (from the undiffracted spot), ``distance_mm`` (crystal to screen), ``frequency_mhz``,
    ``u_spot_mm`` (0.5 mm where not stated) and ``label``. ``wavelength_nm`` (vacuum) by label, one for all, or a
    column of the table. ``velocity_m_s`` is the stated acoustic velocity, to be held against; ``sound_to_face_deg`` the
    angle of the sound's wave vector to the exit face (5 +- 3 deg where not stated, 0.5 % of v; 0 of a plain modulator).
    ``parallel_faces`` says that the papers of the crystal call its faces parallel: 1.5 % of v less in doubt.
    ``own_marks`` says that each colour's spot was measured from that colour's own undiffracted spot, not from one mark.

    Raises ``ReadingsError`` for readings that cannot be, a line without a wavelength, or none at all.
    """
    table = spot_table(readings, wavelength_nm)
    shared = marks(table, own_marks)
    by_colour = _rough(table)
    each = [Parameter(f"separation_{k}", float(a)) for k, a in enumerate(by_colour)]
    free_problem, free = _fit(table, per_colour_model(table, own_marks, False), (*each, *shared))
    start = float(np.median(1e-3 * table.nominal_nm * table.mean_mhz / np.sin(1e-3 * by_colour)))
    law = (Parameter("apparent_velocity_m_s", start, 1e-3 * start), *wavelength_parameters(table), *shared)
    law_problem, law_fit = _fit(table, law_model(table, own_marks), law)
    one = (Parameter("separation_all", float(by_colour.mean())), *shared)
    one_problem, one_fit = _fit(table, per_colour_model(table, own_marks, True), one)
    more = [_sum(p, f) - _sum(free_problem, free) for p, f in ((law_problem, law_fit), (one_problem, one_fit))]
    kind, told = _kind(len(table.names), more[0] / free.birge**2, more[1] / free.birge**2)
    velocity = _velocity(table, law_fit, sound_to_face_deg, parallel_faces)
    separations = {n: free.parameters[f"separation_{k}"] for k, n in enumerate(table.names)}
    fit = _as_result(law_fit if kind in ("law", "one colour") else free, law_fit)
    checks = (told, _velocity_check(kind, velocity, velocity_m_s))
    return Angles(
        separations, dict(zip(table.names, table.mean_mhz.tolist(), strict=True)), kind, velocity, velocity_m_s,
        fit.with_checks(*checks), table,
    )  # fmt: skip


def _rough(table: SpotTable) -> FloatArray:
    """Return the separation (mrad) of each colour (k,) as read."""
    angle = 1e3 * np.arctan(table.spot_mm / table.distance_mm)
    found = np.array([angle[table.colour == k].mean() for k in range(len(table.names))])
    return np.asarray(np.maximum(found, 1e-2))


def _fit(table: SpotTable, model: Model, parameters: tuple[Parameter, ...]) -> tuple[Problem, Fit]:
    x = np.arange(len(table.spot_mm), dtype=float)
    problem = Problem(
        model, parameters, x, table.spot_mm, table.u_spot_mm, None, "the spots", table.readings.places
    )  # fmt: skip
    return problem, fit_problem(problem, thorough=False)


def _sum(problem: Problem, fit: Fit) -> float:
    """Return the sum of squares, what the priors add included."""
    return float(np.sum(problem.residual(fit.values) ** 2))


def _as_result(fit: Fit, law: Fit) -> Fit:
    """Return ``fit`` with the apparent velocity among its parameters."""
    parameters = {**fit.parameters, "apparent_velocity_m_s": law.parameters["apparent_velocity_m_s"]}
    return replace(fit, parameters=parameters)


def _kind(colours: int, law: float, alike: float) -> tuple[Kind, Check]:
    """Return which law the colours keep: by what each of the two laws adds to the chi-square of free colours."""
    if colours == 1:
        return "one colour", Check("colours", True, "one colour: which law the colours keep is not to be told")
    limit = chi2_limit(colours - 1)
    kinds: dict[tuple[bool, bool], Kind] = {
        (True, False): "law", (False, True): "registered", (True, True): "either", (False, False): "neither",
    }  # fmt: skip
    kind = kinds[law <= limit, alike <= limit]
    detail = f"one velocity for all colours adds {law:.1f} to chi2, one angle for all {alike:.1f}, limit {limit:.1f}"
    if kind == "neither":
        detail += "; look for exchanged labels, another order, or a wedge in between"
    return kind, Check("colours", kind != "neither", detail)


def _velocity(
    table: SpotTable, law: Fit, sound_to_face_deg: UFloat | float | None, parallel_faces: bool
) -> UFloat:  # fmt: skip
    """Return v = apparent velocity x cos(sound to face), with what is not known of the faces."""
    if sound_to_face_deg is None:
        sound_to_face_deg = new_cause("angle of the sound to the exit face", SOUND_TO_FACE_DEG[1], SOUND_TO_FACE_DEG[0])
    nominal = sound_to_face_deg.n if isinstance(sound_to_face_deg, UFloat) else sound_to_face_deg
    angle = np.radians(nominal)
    cosine = np.cos(angle) - np.sin(angle) * np.pi / 180.0 * (sound_to_face_deg - nominal)
    faces = new_cause("exit face", U_SQUARE if parallel_faces else U_FACES)
    velocity = law.parameters["apparent_velocity_m_s"] * cosine * (1 + faces)
    return through(table.readings.common_errors("frequency_mhz"), velocity, offsets=False)


def _velocity_check(kind: Kind, velocity: UFloat, stated: UFloat | float | None) -> Check:
    if stated is None or kind not in ("law", "one colour"):
        why = "no velocity was stated" if stated is None else "the colours do not show parallel faces"
        return Check("velocity", True, f"{why}: nothing was held against {in_m_s(velocity)}")
    gap = velocity - stated
    shown = in_m_s(stated)
    apart, limit = abs(gap.n) / gap.s, z_limit()
    detail = f"{in_m_s(velocity)} by the angles, {shown} stated: {apart:.1f} standard uncertainties apart"
    detail += f", limit {limit:.1f}"
    if apart <= limit:
        return Check("velocity", True, detail)
    cure = "check the distance to the screen, a screen that is not square to the light, and the velocity's source"
    if kind == "one colour":
        cure += "; a wedged exit face, which one colour cannot show, does the same"
    return Check("velocity", False, f"{detail}; {cure}")
