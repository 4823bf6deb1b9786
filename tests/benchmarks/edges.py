"""Are rise, delay, D/v and -3 dB right, and as sure as they can be? ``python -m tests.benchmarks.edges``.

Prints and writes results/edges.md. An argument sets the number of traces of each kind (1000).
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from collections import Counter

import numpy as np
import pandas as pd
from scipy.linalg import toeplitz
from scipy.optimize import brentq
from scipy.signal import lfilter
from scipy.special import ndtr
from uncertainties import ufloat

from aotf_lab.timing.depth import fit_modulation_depth
from aotf_lab.timing.edge import fit_edge
from tests.benchmarks.optics import Tally, percent
from tests.benchmarks.table import RESULTS, markdown

STEP_US, DETECTOR_US, PORT_KHZ, U_PORT_KHZ = 0.05, 0.1, 180.0, 4.0
ABOUT = """
Truths drawn at random: beam 1.0 to 2.2 mm, v 610 to 690 m/s, sound's way 4 to 8 mm. Coverage of the 95 % interval;
"rms / best" is the root mean square error over the least standard uncertainty possible (Cramer-Rao) with the noise
known, whole covariance of correlated noise included, by differences of the laws written here once more; poles by a
recursive filter over a grid ten times finer. The delay's best includes the drive's step between two samples (a uniform
error).

Edges: 1,200 samples of 50 ns, up and down; noise in shares of the step; "correlated" is each sample 0.8 times the one
before and white noise; "port" a detector of 0.22 us and the port of 180(4) kHz, known as such, where a check fails by
design for beams so narrow that the port is slower than twice their deviation; "8 bit" a noise of a third of the
scope's step, best by that noise alone and so out of reach. Depths: 13 frequencies from 5 kHz to 1.1 of half depth, u
0.8 % of the depth at rest.
"""


def course(time_us, rise_us, poles):
    """An edge of a Gaussian beam behind poles, half way at 0 before them; poles by a filter on a finer grid."""
    if not poles:
        return ndtr(time_us * 2.5631 / rise_us)
    fine = np.arange(time_us[0] - 5.0, time_us[-1] + STEP_US, STEP_US / 10)
    y = ndtr(fine * 2.563103 / rise_us)
    for tau in poles:
        k = np.exp(-STEP_US / 10 / tau)
        b1 = 1.0 - tau / (STEP_US / 10) * (1.0 - k)
        y = lfilter([b1, 1.0 - k - b1], [1.0, -k], y)
    return np.interp(time_us, fine, y)


def best_of(model, at, inverse, prior):
    """Return the least standard uncertainties at ``at``; ``inverse`` is the noise's inverse covariance (or 1/u^2)."""
    steps = np.diag(1e-4 * np.maximum(np.abs(at), 0.1))
    rows = np.array([(model(at + s) - model(at - s)) / (2 * s.max()) for s in steps])
    weighed = rows @ inverse if inverse.ndim == 2 else rows * inverse
    return np.linalg.inv(weighed @ rows.T + np.diag(prior**-2.0))


def edge_of(rng, noise, correlated, port, bits, inverse):
    """Return a trace pair, its truths (rise, delay, D/v) and the best u of each."""
    v, d = rng.uniform(610.0, 690.0), rng.uniform(1.0, 2.2)
    rise, delay = 0.640776e3 * d / v, 1e3 * rng.uniform(4.0, 8.0) / v
    pole = 1e3 / (2 * np.pi * (PORT_KHZ + rng.normal(0.0, U_PORT_KHZ))) if port else None
    shift = rng.uniform(0.0, STEP_US)
    t = np.arange(-10.0, 50.0 - 1e-9, STEP_US) + shift
    high = 20.0 + rng.uniform(-0.5, 0.5) * STEP_US

    def model(p):
        poles = (DETECTOR_US, p[6]) if port else ()
        up, down = course(t - p[3], p[1], poles), course(t - p[4], p[2], poles)
        return p[0] + p[5] * (up - down)

    at = np.array([0.1, rise, rise, delay, high + delay, 1.0, pole or 1.0])
    u_pole = 1e3 / (2 * np.pi * PORT_KHZ) * U_PORT_KHZ / PORT_KHZ
    prior = np.array([np.inf] * 6 + [u_pole if port else 1e-9])
    covariance = best_of(model, at, inverse, prior)
    white = rng.normal(0.0, noise, len(t) + 100)
    hiss = lfilter([1.0], [1.0, -correlated], white)[100:] * (1 - correlated**2) ** 0.5
    light = model(at) + hiss
    if bits:
        light = np.round(light / (3 * noise)) * 3 * noise
    drive = np.where((t >= 0.0) & (t < high), 5.2, 4.9)
    table = pd.DataFrame({"time_s": 1e-6 * t, "signal_v": light, "drive_v": drive})
    mean = np.zeros(7)
    mean[1:3] = 0.5
    late = np.zeros(7)
    late[3:5] = 0.5
    u_transit, u_late = (float(w @ covariance @ w) ** 0.5 for w in (mean, late))
    best = (covariance[1, 1] ** 0.5, float(np.hypot(u_late, STEP_US / 12**0.5 / 2**0.5)), u_transit / 0.640776)
    return table, (rise, delay, rise / 0.640776), best


def edges(count):
    """Return a row for each kind of trace."""
    rows = []
    kinds = (("noise 0.5 %", 0.005, 0.0, False, False), ("noise 3 %", 0.03, 0.0, False, False),
             ("noise 2 %, correlated", 0.02, 0.8, False, False), ("noise 1 %, port", 0.01, 0.0, True, False),
             ("8 bit", 0.0015, 0.0, False, True))  # fmt: skip
    for kind, (name, noise, correlated, port, bits) in enumerate(kinds):
        n = round(60.0 / STEP_US)
        inverse = np.full(n, noise**-2.0)
        if correlated:
            inverse = np.linalg.inv(noise**2 * toeplitz(correlated ** np.arange(n)))
        tallies, failed, bounded = [Tally() for _ in range(3)], Counter(), 0
        for seed in range(count):
            rng = np.random.default_rng([kind, seed])
            table, truths, best = edge_of(rng, noise, correlated, port, bits, inverse)
            known = {"detector_rise_us": DETECTOR_US * np.log(9.0), "port_bandwidth_khz": ufloat(PORT_KHZ, U_PORT_KHZ)}
            found = fit_edge(table, **(known if port else {}))
            k = found.fit.coverage_factor()
            values = (found.rise_us, found.delay_us, found.transit_us)
            for tally, value, truth, u in zip(tallies, values, truths, best, strict=True):
                tally.add(value, truth, u, k)
            failed["any"] += bool(found.fit.failed)
            failed.update(c.name for c in found.fit.failed)
            bounded += not found.overshoot["rise"].seen
        rows.append((name, *(s for t in tallies for s in (t.coverage(), t.ratio(), t.u("us"))),
                     percent(count - bounded, count), percent(failed["Gaussian edge"], count),
                     percent(failed["any"], count)))  # fmt: skip
    return rows


def depths(count):
    """Return a row for each kind of table of depths."""
    rows = []
    for kind, (name, stated, port) in enumerate(
        (
            ("beam alone, u stated", True, False),
            ("beam alone, by scatter", False, False),
            ("port, u stated", True, True),
        )
    ):
        transit, down, failed = Tally(), Tally(), Counter()
        for seed in range(count):
            rng = np.random.default_rng([10 + kind, seed])
            across = 1e3 * rng.uniform(1.0, 2.2) / rng.uniform(610.0, 690.0)
            b = PORT_KHZ + rng.normal(0.0, U_PORT_KHZ) if port else 1e9

            def law(p, f):
                return p[0] * np.exp(-((np.pi * 1e-3 * f * p[1]) ** 2) / 8) / np.hypot(1.0, f / p[2])

            def where(p, share):
                return brentq(lambda x: law([1.0, *p], x) - share, 0.0, 5e3)

            top = 1.1 * where((across, b), 0.5)
            f, at = np.geomspace(5.0, top, 13), np.array([0.45, across, b])
            u = 0.008 * 0.45
            table = pd.DataFrame({"modulation_khz": f, "depth": law(at, f) + rng.normal(0.0, u, 13)})
            covariance = best_of(lambda p, f=f: law(p, f), at, np.full(13, u**-2.0),
                                 np.array([np.inf, np.inf, U_PORT_KHZ if port else 1e-3]))  # fmt: skip
            true = where((across, b), 0.5**0.5)
            slope = np.array([0.0] + [
                (where((across + s, b + q), 0.5**0.5) - where((across - s, b - q), 0.5**0.5)) / (2 * (s + q))
                for s, q in ((1e-4, 0.0), (0.0, 0.1))
            ])  # fmt: skip
            known = {"port_bandwidth_khz": ufloat(PORT_KHZ, U_PORT_KHZ)} if port else {}
            found = fit_modulation_depth(table.assign(u_depth=u) if stated else table, **known)
            k = found.fit.coverage_factor()
            transit.add(found.transit_us, across, covariance[1, 1] ** 0.5, k)
            down.add(found.f_3db_khz, true, float(slope @ covariance @ slope) ** 0.5, k)
            failed["any"] += any(c.name != "stated uncertainty" for c in found.fit.failed)
            failed.update(c.name for c in found.fit.failed)
        rows.append((name, transit.coverage(), transit.ratio(), transit.u("us"), down.coverage(), down.ratio(),
                     down.u("kHz"), percent(failed["Gaussian law"], count), percent(failed["any"], count)))  # fmt: skip
    return rows


def main(count: int) -> None:
    """Run both sections and write the results."""
    heads = ("rise", "delay", "D/v")
    three = [h for n in heads for h in (f"{n}: coverage %", "rms / best", f"u({n})")]
    parts = (
        ("Edges", edges(count), ("kind", *three, "overshoot seen %", "Gaussian edge failed %", "any failed check %")),
        ("Depth of modulation", depths(count), ("kind", "D/v: coverage %", "rms / best", "u(D/v)", "-3 dB: coverage %",
         "rms / best", "u(-3 dB)", "Gaussian law failed %", "any failed check %")),
    )  # fmt: skip
    told = "\n\n".join(f"## {t}: {count} of each kind\n\n{markdown(h, rows)}" for t, rows, h in parts)
    text = f"# edges\n\n{ABOUT.strip()}\n\n{told}\n"
    (RESULTS / "edges.md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
