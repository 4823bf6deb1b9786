"""Points seen on a loop -> which loop it is, and the velocity of the slow shear wave along [110].

Each of the six loops (three acoustic waves, two polarisations of the scattered light) is tried. "Explained by" needs
chi-square within its limit; another loop is ruled out when it fits worse by more than a limit, and else named.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from uncertainties import UFloat

from aotf_lab.crystal.cut import U_VELOCITY, Cut
from aotf_lab.crystal.loops.expected import POLARISATIONS, other
from aotf_lab.crystal.loops.found import LoopFit, Rival
from aotf_lab.crystal.loops.model import VELOCITY, LoopModel
from aotf_lab.crystal.loops.seen import SeenPoints, seen_points
from aotf_lab.errors import AotfLabError, FitError, ReadingsError, Said
from aotf_lab.estimation import Check, Fit, fit_problem, new_cause
from aotf_lab.estimation.checks import chi2_limit, z_check, z_limit
from aotf_lab.physics.elastic import V001_M_S, V110_M_S
from aotf_lab.physics.phase_matching import Polarisation
from aotf_lab.physics.slowness import MODES
from aotf_lab.reading.readings import Readings, as_readings

__all__ = ["fit_loops"]

U_STIFFNESS = 0.01
"""Relative u of the listed stiffnesses other than c11 - c12 and c44: a judgement, twice their spread between papers."""


_FAR_OFF = 20.0
"""Times the best chi-square (and limit) at which a loop is not fitted any more."""


@dataclass(frozen=True)
class _Tried:
    model: LoopModel
    fit: Fit

    @property
    def misfit(self) -> float:
        """Chi-square with the pulls of the priors; n ln(noise^2) where no uncertainty was stated."""
        fit, priors = self.fit, [n for n in self.model.uncertain() if not (n == VELOCITY and self.model.free_velocity)]
        pulls = 0.0
        for name in priors:
            known = self.model.known[name]
            if isinstance(known, UFloat):
                pulls += float((fit.parameters[name].n - known.n) / known.s) ** 2
        return pulls + (fit.chi2 if fit.noise is None else 2 * max(fit.dof, 1.0) * float(np.log(fit.noise)))

    @property
    def name(self) -> str:
        return f"{self.model.mode}, {self.model.scattered}"

    def against(self, best: _Tried) -> Rival:
        velocity = self.fit.parameters[VELOCITY] if self.model.free_velocity else None
        return Rival(self.model.mode, self.model.scattered, self.misfit - best.misfit, velocity)


def fit_loops(
    seen: Readings | pd.DataFrame,
    cut: Cut | UFloat | float,
    frequency_mhz: UFloat | float,
    wavelength_nm: float,
    distance_mm: UFloat | float,
    *,
    incident: Polarisation = "ordinary",
    loop: tuple[str, Polarisation] | None = None,
    exit_tilt_deg: UFloat | float = 0.0,
    u_spot_mm: float = 0.0,
    u_turn_deg: float = 0.0,
    stated_m_s: UFloat | None = None,
    material: str = "TeO2",
) -> LoopFit:
    """Fit one loop to the points seen and return the ``LoopFit``.

    ``seen`` has ``x_mm``, ``y_mm`` from the undiffracted spot (x in the plane of the cut towards [110]) and ``u_x_mm``,
    ``u_y_mm``. ``cut`` is a fitted ``Cut`` or the incidence inside (deg). Any setting given as a ``ufloat`` may move
    within its uncertainty, and has its share in the budget; a float counts as exact. ``u_spot_mm`` is how well the
    undiffracted spot was marked (each way), ``u_turn_deg`` how well x lies in the plane of the cut. ``loop``, (acoustic
    wave, polarisation of the light), says which loop it is where that is known. ``wavelength_nm`` is in vacuum,
    ``distance_mm`` from the crystal to the screen, ``exit_tilt_deg`` as for ``expected_loops``. ``stated_m_s`` is the
    velocity to compare with: the packaged 617 m/s +- 0.5 % unless given; for a loop of the slow shear wave it is not
    used.

    The velocity hangs on the tips of the star's arms; the flanks tell which loop it is and hardly the velocity.

    Raises ``ReadingsError`` for points that cannot be, ``FitError`` when they fit no loop of the slow shear wave best
    (no other depends on that velocity), ``MaterialError`` for a crystal without constants.
    """
    readings = as_readings(seen)
    points = seen_points(readings)
    packaged = new_cause("stated acoustic velocity", U_VELOCITY * V110_M_S, V110_M_S)
    stated = packaged if stated_m_s is None else stated_m_s
    known: dict[str, UFloat | float] = {
        VELOCITY: stated,
        "v001_m_s": new_cause("shear velocity along [001]", U_VELOCITY * V001_M_S, V001_M_S),
        "stiffness": new_cause("listed stiffnesses", U_STIFFNESS, 1.0),
        "frequency_mhz": frequency_mhz,
        "incidence_deg": cut.incidence_deg if isinstance(cut, Cut) else cut,
        "distance_mm": distance_mm,
        "exit_tilt_deg": exit_tilt_deg,
        "spot_x_mm": new_cause("mark of the undiffracted spot, x", u_spot_mm),
        "spot_y_mm": new_cause("mark of the undiffracted spot, y", u_spot_mm),
        "turn_deg": new_cause("axes of the screen", u_turn_deg),
    }
    first = LoopModel(known, wavelength_nm, incident, MODES[0], other(incident), True, material)
    best, rivals = _try_all(first, points, loop)
    if best.model.mode != MODES[0]:
        raise FitError(
            "the points lie on a loop that says nothing of the slow shear wave", where=points.places[0],
            found=Said(f"{best.name}: {_size(best.fit)}"), allowed="a loop of the slow shear wave",
            cure="mark points on the arms of the star, or name the loop if you know which it is",
        )  # fmt: skip
    checks = (
        _explained(best, len(points.x_mm)),
        _rivals_check(best, rivals, loop is not None),
        _velocity_check(best.fit.parameters[VELOCITY], stated, rivals),
    )
    return LoopFit(best.model, points, readings, best.fit.with_checks(*checks), rivals, stated)


def _try_all(
    first: LoopModel, points: SeenPoints, loop: tuple[str, Polarisation] | None
) -> tuple[_Tried, tuple[Rival, ...]]:
    """Return the best fit of all loops, or of the one named, and the others, the nearest first."""
    names = [(m, p) for m in MODES for p in POLARISATIONS]
    if loop is not None and loop not in names:
        raise AotfLabError(
            "no such loop", found=Said(str(loop)), allowed=", ".join(f"{m} / {p}" for m, p in names),
            cure="name the acoustic wave and the polarisation of the scattered light",
        )  # fmt: skip
    tried: list[_Tried] = []
    hopeless: list[Rival] = []
    failed = None
    for mode, scattered in names if loop is None else [loop]:
        model = first.for_loop(mode, scattered)
        far = _misfit_far_off(model, points, tried)
        if far is not None:
            hopeless.append(Rival(mode, scattered, far, None))
            continue
        try:
            tried.append(_Tried(model, _fitted(model, points)))
        except (FitError, ReadingsError) as error:
            failed = failed or error
    if failed is not None and not tried:
        raise failed
    best, *others = sorted(tried, key=lambda t: t.misfit)
    rivals = [t.against(best) for t in others] + [replace(r, gap=r.gap - best.misfit) for r in hopeless]
    return best, tuple(sorted(rivals, key=lambda r: r.gap))


def _fitted(model: LoopModel, points: SeenPoints) -> Fit:
    """Return the fit from the stated settings, by a wider search where that one fails."""
    try:
        return fit_problem(model.problem(points), thorough=False)
    except FitError:
        return fit_problem(model.problem(points), thorough=True)


def _misfit_far_off(model: LoopModel, points: SeenPoints, tried: list[_Tried]) -> float | None:
    """Return the misfit of a loop of another wave, by a straight line, where a slow one is far better; else None."""
    if model.free_velocity or not tried or not points.u_known:
        return None
    misfit = model.misfit_by_a_straight_line(points)
    return misfit if misfit > _FAR_OFF * (min(t.misfit for t in tried) + z_limit() ** 2) else None


def _size(fit: Fit) -> str:
    if fit.noise is not None:
        return f"points scatter by {fit.noise:.2g} mm about it"
    return f"chi2 = {fit.chi2:.1f} on {fit.dof:.3g} degrees of freedom"


def _explained(best: _Tried, count: int) -> Check:
    name, fit = best.name, best.fit
    if fit.noise is not None:
        return Check("explained", True, f"{count} points lie nearest to {name}: {_size(fit)}")
    limit = chi2_limit(fit.dof) if fit.dof >= 0.5 else np.inf
    passed = bool(fit.chi2 <= limit)
    detail = f"{count} points explained by {name}: {_size(fit)}, limit {limit:.1f}"
    cure = "this loop does not explain them all: they may belong to two loops, or distance or cut is not as stated"
    return Check("explained", passed, detail if passed else f"{detail}; {cure}")


def _rivals_check(best: _Tried, rivals: tuple[Rival, ...], named: bool) -> Check:
    if named:
        return Check("which loop", True, f"{best.name}, as named; no other was tried")
    limit = z_limit() ** 2
    close = [r for r in rivals if r.gap <= limit]
    nearest = f"; next is {rivals[0].name}" if rivals else ""
    gap = f"worse by {rivals[0].gap:.1f} in chi2, limit {limit:.1f}" if rivals else "no other could be fitted"
    if not close:
        return Check("which loop", True, f"{best.name}{nearest}, {gap}")
    gives = [f", which would give {r.v110_m_s:.2uS} m/s" if r.v110_m_s is not None else "" for r in close]
    may = "; or ".join(r.name + said for r, said in zip(close, gives, strict=True))
    return Check("which loop", False, f"ambiguous: {best.name}; or {may} ({gap}); "
                 "mark points on both sides of the star, on its arms along x, or name the loop")  # fmt: skip


def _velocity_check(found: UFloat, stated: UFloat, rivals: tuple[Rival, ...]) -> Check:
    """Return the check against the stated velocity; where the loop is ambiguous, either of its velocities will do."""
    what = f"slow shear along [110] less the stated {stated.n:.1f} m/s"
    cure = "look at the distance to the screen, at which loop it is, and at the cut"
    first = z_check("velocity", (found - stated).n, (found - stated).s, what, "m/s", cure)
    if first.passed:
        return first
    for rival in rivals:
        if rival.v110_m_s is None or rival.gap > z_limit() ** 2:
            continue
        off = rival.v110_m_s - stated
        second = z_check("velocity", off.n, off.s, f"if the loop is {rival.name}, {what}", "m/s", cure)
        if second.passed:
            return second
    return first
