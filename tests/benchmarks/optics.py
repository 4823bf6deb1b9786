"""Angles, polarisation and beam size on simulated benches: coverage, error over the best possible, alarms.

Spots: four colours (473 to 671 nm), two readings each, ruler 0.5 mm, mark 0.5 mm, walk-off 0.3 mm, 2 m known to 5 mm.
Analyser in steps of 15 deg, 0.3 deg; knife edge in steps of 0.15 mm, 5 um; light 0.5 % and 1.1 uW, dark subtracted.
"rms / best" is the rms error over the rms of the best u possible (Fisher information); coverage is of 95 % intervals.
"""

from __future__ import annotations

import os

os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}

import sys
from collections import Counter
from collections.abc import Sequence

import numpy as np

from aotf_lab.crystal.angles import fit_angles
from aotf_lab.crystal.beam import fit_beam_size
from aotf_lab.crystal.polarisation import fit_polarisation
from tests.benchmarks.optics_bench import DWELL_S, V, analyser_bench, edge_bench, spots_bench
from tests.benchmarks.table import RESULTS, markdown

K = 1.959964


def percent(count: int, benches: int) -> str:
    return f"{100 * count / benches:.1f}"


class Tally:
    """Errors, stated and best u of one quantity over many benches."""

    def __init__(self) -> None:
        self.rows: list[tuple[float, float, float]] = []

    def add(self, value, truth: float, best: float = float("nan"), k: float = K) -> None:
        self.rows.append(((value.n - truth), value.s * k / K, best))

    def coverage(self) -> str:
        error, u, _ = np.array(self.rows).T
        return f"{100 * np.mean(np.abs(error) <= K * u):.1f}"

    def ratio(self) -> str:
        error, _, best = np.array(self.rows).T
        return f"{np.sqrt(np.mean(error**2) / np.mean(best**2)):.3f}"

    def u(self, unit: str) -> str:
        return f"{np.sqrt(np.mean(np.array(self.rows)[:, 1] ** 2)):.2g} {unit}"


def parallel(benches: int) -> list[Sequence[object]]:
    """Parallel faces: is the law seen, and are v and the separations right?"""
    rows: list[Sequence[object]] = []
    for name, u_nm, told in (
        ("wavelengths exact", 0.0, True), ("wavelengths to 0.1 nm", 0.1, True), ("wavelengths to 3 nm", 3.0, True),
        ("wavelengths exact, faces not stated", 0.0, False),
    ):  # fmt: skip
        v, one, spread, kinds, alarms = Tally(), Tally(), Tally(), Counter(), 0
        for seed in range(benches):
            bench = spots_bench(np.random.default_rng([1, seed]), u_nm=u_nm)
            found = fit_angles(bench.readings, bench.told, velocity_m_s=V, sound_to_face_deg=5.3, parallel_faces=told)
            v.add(found.apparent_velocity_m_s, V, bench.best_u_v)
            one.add(found.separation_mrad["E"], bench.true_mrad["E"])
            spread.add(found.separation_mrad["B"] - found.separation_mrad["G"],
                       bench.true_mrad["B"] - bench.true_mrad["G"])  # fmt: skip
            kinds[found.kind] += 1
            alarms += bool(found.fit.failed)
        rows.append((name, v.coverage(), v.ratio() if told else "", v.u("m/s"), one.coverage(), spread.coverage(),
                     spread.u("mrad"), percent(kinds["law"], benches), percent(alarms, benches)))  # fmt: skip
    return rows


def wedged(benches: int) -> list[Sequence[object]]:
    """Wedged exit faces, nothing stated of them: what is said, and is a v ever stated that is wrong?"""
    rows: list[Sequence[object]] = []
    for wedge in (3.87, 3.0, 2.0, 1.0, 0.5, 0.25, -0.5, -1.0, -3.0):
        kinds, wrong = Counter(), 0
        for seed in range(benches):
            bench = spots_bench(np.random.default_rng([2, seed]), wedge)
            found = fit_angles(bench.readings, bench.told, sound_to_face_deg=5.3)
            kinds[found.kind] += 1
            v = found.velocity_m_s
            wrong += v is not None and abs(v.n - V) > 3.0902 * v.s
        said = [f"{100 * kinds[k] / benches:.1f}" for k in ("law", "registered", "either", "neither")]
        rows.append((f"{wedge:g}", *said, f"{100 * wrong / benches:.2f}"))
    exchanged = Counter()
    for seed in range(benches):
        bench = spots_bench(np.random.default_rng([3, seed]))
        swapped = {**bench.told, "B": bench.told["G"], "G": bench.told["B"]}
        exchanged[fit_angles(bench.readings, swapped).kind] += 1
    said = [f"{100 * exchanged[k] / benches:.1f}" for k in ("law", "registered", "either", "neither")]
    rows.append(("0, two labels exchanged", *said, ""))
    return rows


def polarised(benches: int) -> list[Sequence[object]]:
    """Light behind an analyser."""
    rows: list[Sequence[object]] = []
    for crossed, turn, u in ((0.0, 180.0, 0.3), (0.002, 180.0, 0.3), (0.006, 180.0, 0.3), (0.006, 360.0, 0.3),
                             (0.05, 360.0, 0.3), (0.006, 360.0, 1.0)):  # fmt: skip
        axis, share, bound, alarms, called = Tally(), Tally(), 0, 0, 0
        for seed in range(benches):
            table, truth, best = analyser_bench(np.random.default_rng([4, seed]), crossed, turn, u)
            found = fit_polarisation(table)
            k = found.fit.coverage_factor()
            away = (found.axis_deg.n - truth + 90.0) % 180.0 - 90.0
            axis.add(found.axis_deg, found.axis_deg.n - away, best[0], k)
            share.add(found.crossed_share, crossed, best[1], k)
            bound += found.crossed_bound >= crossed
            called += found.is_bound
            alarms += bool(found.fit.failed)
        rows.append((f"{crossed:g}", f"{turn:g}", f"{u:g}", axis.coverage(), axis.ratio(), axis.u("deg"),
                     share.coverage(), share.ratio(), share.u(""),
                     *(percent(n, benches) for n in (bound, called, alarms))))  # fmt: skip
    return rows


def edges(benches: int) -> list[Sequence[object]]:
    """Light past a knife edge."""
    rows: list[Sequence[object]] = []
    for both, u, lag, told in EDGES:
        size, alarms = Tally(), Counter()
        for seed in range(benches):
            table, truth, best = edge_bench(np.random.default_rng([5, seed]), both, u, lag)
            constant = None if not told else DWELL_S / np.log1p(1 / lag) if lag else 0.0
            found = fit_beam_size(table, time_constant_s=constant)
            size.add(found.diameter_mm, truth, best, found.fit.coverage_factor())
            alarms["any"] += bool(found.fit.failed)
            alarms.update(c.name for c in found.fit.failed)
        told_as = "both ways" if both else "time constant" if told else "nothing"
        rows.append(
            (told_as, f"{1e3 * u:g}", f"{lag:g}", size.coverage(), size.ratio(), size.u("mm"),
             *(percent(alarms[name], benches) for name in ("any", "lag", "Gaussian beam")))
        )  # fmt: skip
    return rows


EDGES = (
    (True, 0.005, 0.0, False), (True, 0.02, 0.0, False), (True, 0.005, 0.05, False), (True, 0.005, 0.3, False),
    (True, 0.005, 1.0, False), (False, 0.005, 0.0, True), (False, 0.005, 0.05, True), (False, 0.005, 0.3, True),
    (False, 0.005, 0.0, False), (False, 0.005, 1.0, False),
)  # fmt: skip

SECTIONS = (
    ("Parallel faces", parallel, ("told", "v: coverage %", "rms / best", "u(v)", "separation: coverage %",
     "registration: coverage %", "u(registration)", "law seen %", "any failed check %")),
    ("Exit faces that lean (deg), unknown to the fit; a velocity is wrong beyond 3.09 of its u", wedged,
     ("lean", "law %", "registered %", "either %", "neither %", "wrong velocity stated %")),
    ("Polarisation", polarised, ("crossed share", "turn (deg)", "u of angle (deg)", "axis: coverage %", "rms / best",
     "u(axis)", "crossed: coverage %", "rms / best", "u(crossed)", "below its 95 % bound %", "called a bound %",
     "any failed check %")),
    ("Beam size, 1.0 to 2.2 mm; best is that without a lag", edges, ("lag known by", "u of position (um)",
     "lag (steps)", "diameter: coverage %", "rms / best", "u(diameter)", "any failed check %", "lag %",
     "Gaussian beam %")),
)  # fmt: skip


def main(benches: int) -> None:
    """Run every section and write the results."""
    parts = [f"## {title}: {benches} benches\n\n{markdown(heads, job(benches))}" for title, job, heads in SECTIONS]
    text = f"# optics\n\n{(__doc__ or '').strip()}\n\n" + "\n\n".join(parts) + "\n"
    (RESULTS / "optics.md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
