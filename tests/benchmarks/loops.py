"""Velocity and loop from points seen, over simulated screens: coverage, false alarms, wrong loops."""

from __future__ import annotations

import os
import sys

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pandas as pd
from uncertainties import ufloat

from aotf_lab.crystal.loops import fit_loops
from aotf_lab.crystal.loops.expected import POLARISATIONS, loops_of
from aotf_lab.errors import AotfLabError
from aotf_lab.physics.elastic import elastic_constants
from aotf_lab.physics.phase_matching import parallel_tangent_frequency
from aotf_lab.physics.slowness_scattering import Scattering
from tests.benchmarks.table import write_table

BENCHES = 400
U_MM, U_DISTANCE_MM, U_SPOT_MM, U_TURN_DEG, U_INCIDENCE_DEG = 0.5, 2.0, 0.3, 0.5, 0.1
PLACES = {
    "12 points, tips of four arms": (12, (0.0, 90.0, 180.0, 270.0), 10.0),
    "12 points all round": (12, (0.0,), 180.0),
    "8 points, tip of one arm": (8, (0.0,), 10.0),
}

ABOUT = """
Points on one loop of the slow shear wave, marked on a screen 1 m away with u = 0.5 mm; distance 2 mm, mark of the spot
0.3 mm each way, axes of the screen 0.5 deg, incidence 0.1 deg; 8 to 14 deg, 450 to 670 nm, 610 to 624 m/s, the light's
polarisation kept or changed, each as likely. "Wrong": another loop was named and the check "which loop" passed.
"Ambiguous": that check failed. "False alarm": any other check failed. Coverage and rms (error over stated u) are of the
velocity where the loop named is the true one; "median u" is what the points allow, near the Cramer-Rao bound.
"""


def _one(
    rng: np.random.Generator, count: int, centres_deg: tuple[float, ...], half_deg: float
) -> tuple[str, float, float, bool]:
    """Return the verdict, the error over u, u (m/s) and whether the 95 % interval holds the truth."""
    nm, incidence, v110 = rng.uniform(450, 670), rng.uniform(8, 14), rng.uniform(610, 624)
    mhz = float(parallel_tangent_frequency(nm, incidence))
    constants = elastic_constants(v110_m_s=v110, v001_m_s=2104 * (1 + 0.005 * rng.normal()))
    scattered = POLARISATIONS[rng.integers(2)]
    true = Scattering(constants, mhz, nm, incidence, 1000.0)
    loop = loops_of(true, (("slow shear", scattered),))[0]
    at = np.radians(rng.choice(centres_deg, count) + rng.uniform(-half_deg, half_deg, count))
    rows = np.abs(np.angle(np.exp(1j * (np.arctan2(loop.y_mm, loop.x_mm)[:, None] - at)))).argmin(axis=0)
    turn = np.radians(U_TURN_DEG * rng.normal())
    x = loop.x_mm[rows] * np.cos(turn) - loop.y_mm[rows] * np.sin(turn)
    y = loop.x_mm[rows] * np.sin(turn) + loop.y_mm[rows] * np.cos(turn)
    shift = U_SPOT_MM * rng.normal(size=2)
    seen = pd.DataFrame({"x_mm": x + shift[0] + U_MM * rng.normal(size=count), "u_x_mm": U_MM})
    seen = seen.assign(y_mm=y + shift[1] + U_MM * rng.normal(size=count), u_y_mm=U_MM)
    try:
        found = fit_loops(
            seen, ufloat(incidence + U_INCIDENCE_DEG * rng.normal(), U_INCIDENCE_DEG), mhz, nm,
            ufloat(1000.0 + U_DISTANCE_MM * rng.normal(), U_DISTANCE_MM), u_spot_mm=U_SPOT_MM, u_turn_deg=U_TURN_DEG,
            stated_m_s=ufloat(617.0, 6.0),
        )  # fmt: skip
    except AotfLabError:
        return "refused", np.nan, np.nan, False
    failed = {c.name for c in found.fit.failed}
    right = found.model.scattered == scattered
    low, high = found.fit.interval(found.v110_m_s)
    verdict = "ambiguous" if "which loop" in failed else "right" if right else "wrong"
    if failed - {"which loop"}:
        verdict += ", alarm"
    error = (found.v110_m_s.n - v110) / found.v110_m_s.s if right else np.nan
    return verdict, error, found.v110_m_s.s, low <= v110 <= high


def main(benches: int = BENCHES) -> None:
    """Run all cases and write the table."""
    rows = []
    for case, (title, where) in enumerate(PLACES.items()):
        rng = np.random.default_rng(1970 + case)
        results = [_one(rng, *where) for _ in range(benches)]
        verdicts = [r[0] for r in results]
        errors = np.array([r[1] for r in results])
        held = np.array([r[3] for r in results])[np.isfinite(errors)]

        def share(word: str, verdicts: list[str] = verdicts) -> str:
            return f"{100 * np.mean([word in v for v in verdicts]):.1f} %"

        said = [share(word) for word in ("right", "ambiguous", "wrong", "refused", "alarm")]
        rms, u = np.sqrt(np.nanmean(errors**2)), np.nanmedian([r[2] for r in results])
        rows.append((title, benches, *said, f"{held.mean():.3f}", f"{rms:.2f}", f"{u:.1f} m/s"))
    heads = "points, benches, right, ambiguous, wrong, refused, false alarm, coverage of 95 %, rms / u, median u"
    write_table("loops", heads.split(", "), rows, ABOUT)


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:2]))
