"""Simulated benches for the identity of peaks: a random cut by exact phase matching, lines, peaks, faults.

Truth: parallel-tangent cuts of 7 to 30 deg incidence, the extraordinary pole of the published dispersion moved by up
to 1 nm either way, acoustic velocity off by 0.5 %; centres known to 5 to 30 kHz.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from aotf_lab.data import CatalogueLine, catalogue_lines
from aotf_lab.physics.acoustics import slow_shear_velocity
from aotf_lab.physics.phase_matching import parallel_tangent_acoustic_angle, phase_matched_frequency

Floats = NDArray[np.float64]
DESIGN_NM = 589.0
U_ANCHOR_NM, U_DIODE_NM = 0.1, 3.0
_LOW_NM, _HIGH_NM, _APART_NM = 440.0, 700.0, 6.0


@dataclass(frozen=True)
class Bench:
    """Peaks by name, the catalogue given with them, and the truth: name of peak -> name of line, None where it is none.

    ``true_nm`` is the vacuum wavelength of each peak's light.
    """

    peaks: dict[str, UFloat]
    catalogue: list[CatalogueLine] | None
    truth: dict[str, str | None]
    true_nm: dict[str, float]
    cut: Cut


@dataclass(frozen=True)
class Cut:
    """A cut of the crystal: incidence, pole shift (nm) and true acoustic velocity over the packaged one."""

    incidence_deg: float
    pole_shift_nm: float
    relative_velocity: float

    def frequency(self, nm: Floats) -> Floats:
        """Return the frequency (MHz) of vacuum wavelengths (n,) in nm."""
        angle = parallel_tangent_acoustic_angle(DESIGN_NM, self.incidence_deg, pole_shift_nm=self.pole_shift_nm)
        velocity = self.relative_velocity * slow_shear_velocity(angle)
        return phase_matched_frequency(nm, self.incidence_deg, angle, velocity, pole_shift_nm=self.pole_shift_nm)


def random_cut(rng: np.random.Generator) -> Cut:
    return Cut(float(rng.uniform(7, 30)), float(rng.uniform(-1, 1)), 1 + 0.005 * float(rng.standard_normal()))


def own_lines(rng: np.random.Generator, diodes: int, count: int = 7) -> tuple[list[CatalogueLine], dict[str, float]]:
    """Return the bench's lines as stated (u 0.1 nm, those of ``diodes`` 3 nm) and their true vacuum wavelengths."""
    while True:
        nm = np.sort(rng.uniform(_LOW_NM, _HIGH_NM, count))
        if np.diff(nm).min() > _APART_NM:
            break
    u = np.full(count, U_ANCHOR_NM)
    u[rng.permutation(count)[:diodes]] = U_DIODE_NM
    stated = nm + u * rng.standard_normal(count)
    lines = [
        CatalogueLine(f"L{k + 1}", float(s), float(w), "simulated", "simulated")
        for k, (s, w) in enumerate(zip(stated, u, strict=True))
    ]
    return lines, {line.name: float(w) for line, w in zip(lines, nm, strict=True)}


def packaged_lines(rng: np.random.Generator, count: int = 7) -> dict[str, float]:
    """Return ``count`` lines of the packaged catalogue, no two closer than 6 nm, with their vacuum wavelengths."""
    inside = [line for line in catalogue_lines() if _LOW_NM < line.wavelength_nm < _HIGH_NM]
    chosen: list[CatalogueLine] = []
    for k in rng.permutation(len(inside)):
        if all(abs(inside[k].wavelength_nm - c.wavelength_nm) > _APART_NM for c in chosen):
            chosen.append(inside[k])
    return {line.name: line.wavelength_nm for line in chosen[:count]}


def measured(cut: Cut, nm: dict[str, float], names: Sequence[str], rng: np.random.Generator) -> dict[str, UFloat]:
    """Return the peaks of these lines, called p1, p2, ... in a random order."""
    f = cut.frequency(np.array([nm[name] for name in names]))
    u = rng.uniform(0.005, 0.030)
    return {f"p{k + 1}": ufloat(float(x + u * rng.standard_normal()), u) for k, x in enumerate(f)}


def bench(
    rng: np.random.Generator,
    peaks: int,
    *,
    diodes: int = 0,
    packaged: bool = False,
    absent: int = 0,
    ghosts: int = 0,
    strays: int = 0,
) -> Bench:
    """Return a bench on which ``peaks`` of seven lines were measured.

    ``absent`` of those lines are missing from the catalogue given; ``ghosts`` peaks are lines driven by the second or
    third harmonic; ``strays`` are peaks anywhere.
    """
    cut = random_cut(rng)
    if packaged:
        nm, lines = packaged_lines(rng), None
    else:
        lines, nm = own_lines(rng, diodes)
    names = [str(n) for n in rng.permutation(list(nm))[:peaks]]
    read = measured(cut, nm, names, rng)
    truth: dict[str, str | None] = dict(zip(read, names, strict=True))
    true_nm = {p: nm[name] for p, name in zip(read, names, strict=True)}
    if absent:
        gone = set(names[:absent])
        whole = catalogue_lines() if lines is None else lines
        lines = [x for x in whole if all(abs(x.wavelength_nm - nm[g]) > 0.3 and x.name != g for g in gone)]
        truth = {p: None if name in gone else name for p, name in truth.items()}
    u = next(iter(read.values())).s
    for k in range(ghosts):
        of = read[f"p{1 + int(rng.integers(peaks))}"].n / rng.choice([2, 3])
        read[f"ghost{k + 1}"] = ufloat(float(of + u * rng.standard_normal()), u)
        truth[f"ghost{k + 1}"] = None
    low, high = min(p.n for p in read.values()), max(p.n for p in read.values())
    for k in range(strays):
        read[f"stray{k + 1}"] = ufloat(float(rng.uniform(low, high)), u)
        truth[f"stray{k + 1}"] = None
    return Bench(read, lines, truth, true_nm, cut)


def naive(bench: Bench) -> dict[str, str | None]:
    """Return the nearest lines under f x wavelength = constant: of all constants that put one peak on one line, the one
    with the least sum of squared distances (each line taken once, the nearest peak first)."""
    lines = catalogue_lines() if bench.catalogue is None else bench.catalogue
    nm = np.array([line.wavelength_nm for line in lines])
    f = np.array([p.n for p in bench.peaks.values()])
    best: tuple[float, NDArray[np.intp]] = (np.inf, np.zeros(len(f), dtype=np.intp))
    for constant in np.unique(np.multiply.outer(f, nm)):
        at = constant / f
        gaps = np.abs(at[:, None] - nm)
        nearest = np.argmin(gaps, axis=1)
        if len(set(nearest.tolist())) < len(f):
            continue
        total = float(np.sum(gaps[np.arange(len(f)), nearest] ** 2))
        if total < best[0]:
            best = (total, nearest)
    if not np.isfinite(best[0]):
        return dict.fromkeys(bench.peaks)
    return {p: lines[k].name for p, k in zip(bench.peaks, best[1], strict=True)}
