"""Is the right cause named when light is missing? ``python -m tests.benchmarks.fault_tree``.

Prints and writes results/fault_tree.md. An argument sets the number of benches per cause (1000).
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from scipy import optimize, stats
from uncertainties import UFloat, ufloat

from aotf_lab.record.fault_tree import FaultTree, causes, half_the_light, readings
from aotf_lab.simulate.light import CRYSTAL_TEMPERATURE_C, true_efficiency, true_peak_frequency, true_saturation_power
from aotf_lab.simulate.truth import SKERRY, LineTruth
from tests.benchmarks.table import write_table

QUICK = (
    "light_mw", "dark_mw", "box_c", "crystal_c", "supply_v", "frequency_mhz", "light_best_frequency_mw", "incident_mw",
)  # fmt: skip
LED = ("light_mw", "frequency_mhz")
MOST = 10
ABOUT = """
Benches drawn at random: a line of the demo bench, a drive ratio P / P_sat of 0.25 to 1, its true efficiency (a passband
that leans by 0.10, where the tree reckons with 0 +- 0.1), every link at its healthy wander, every reading with its
usual noise, and one cause whose size leaves 20 to 80 % of the light (a crystal 8 to 20 K away loses 1 to 15 %; RF power
goes up to 2.6 P_sat at the most, where the sidelobes outshine the peak). {benches} benches per cause.

"first" is how often the right cause stands first, "open" how often it is first or not told apart from the first,
"alone" how often it stands first with every other told apart and the readings explained, "wrong" how often another
stands so. Quick: light, dark, three thermometers or volts, frequency, light at the best frequency, light before the
crystal by the same meter (7 minutes). All: every reading of the list. Led: light and frequency, then what the tree
names, until it is decided (ten readings at the most; {led} benches per cause), with the median of its minutes.
"nothing" first is the share without a false alarm. A crystal led so is mostly missed: it costs so little light that
light and frequency look healthy and nothing more is asked for.
"""


@dataclass
class Bench:
    """One bench on its day 0; ``now`` makes today's true readings of a state."""

    line: LineTruth
    ratio: float
    off_mhz: float
    dark_mw: float = 0.0034
    aperture_mm: float = 2.0
    diameter_mm: float = 1.6

    @cached_property
    def peak_mhz(self) -> float:
        """The true peak of the line."""
        return float(true_peak_frequency(self.line.wavelength_air_nm))

    def eta(self, offset_mhz: Any = 0.0, db: float = 0.0, crystal_k: float = 0.0, share: float = 1.0) -> Any:
        """The true efficiency at an offset from the stored peak and a change of drive."""
        nm = self.line.wavelength_air_nm
        at = self.peak_mhz + offset_mhz
        power = share * self.ratio * float(true_saturation_power(nm)) * 10 ** (db / 10)
        return true_efficiency(at, power, nm, temperature_c=CRYSTAL_TEMPERATURE_C + crystal_k)

    def fwhm(self, db: float) -> float:
        """The true width, on the passband that leans."""
        offsets = np.linspace(0.0, 0.3, 301)
        peak = self.eta(0.0, db)
        ends = []
        for side in (-1.0, 1.0):
            light = np.asarray(self.eta(side * offsets, db)) / peak
            k = int(np.argmax(light < 0.5))
            ends.append(float(np.interp(0.5, light[[k, k - 1]], offsets[[k, k - 1]])))
        return sum(ends)

    def through(self, factor: float) -> float:
        """The share of the beam, ``factor`` times as wide, that passes the crystal's aperture."""
        return float(1 - 2 * stats.norm.sf(self.aperture_mm / 2, scale=factor * self.diameter_mm / 4))

    def now(self, s: dict[str, float], full_mw: float = np.inf) -> dict[str, float]:
        """Every true reading in a state ``s`` (change -> size)."""
        osc = s["oscillator_mhz"] - 0.046 * s["box_k"] + 0.55 * s["supply_v"]
        db, laser, gain = s["rf_db"] + s["match_db"], np.exp(s["laser_ln"]), np.exp(s["head_ln"])
        entering = np.exp(s["before_ln"]) * self.through(np.exp(s["wider_ln"])) / self.through(1.0)
        malus, sound = np.cos(np.radians(s["turn_deg"])) ** 2, np.exp(s["sound_ln"])
        inc, peak = self.line.incident_power_mw, self.peak_mhz
        warm = float(
            true_peak_frequency(self.line.wavelength_air_nm, temperature_c=CRYSTAL_TEMPERATURE_C + s["crystal_k"])
        )
        shift = warm - peak + s["mount_mhz"]
        here = self.off_mhz + osc - shift
        light0 = inc * self.eta(self.off_mhz)
        zero = s["zero_share"] * light0

        def order(eta: float, polarised: float = float(malus)) -> float:
            return float(inc * laser * entering * sound * polarised * np.exp(s["behind_ln"]) * eta)

        def shown(light: float, limit: float = np.inf) -> float:
            return min(gain * light + self.dark_mw, limit) + zero

        return {
            "light_mw": shown(order(self.eta(here, db)), full_mw),
            "light_best_frequency_mw": shown(order(self.eta(0.0, db)), full_mw),
            "light_best_angle_mw": shown(order(self.eta(here, db), 1.0), full_mw),
            "light_half_rf_mw": shown(order(self.eta(here, db, share=0.5)), full_mw),
            "light_other_head_mw": order(self.eta(here, db)),
            "incident_mw": shown(inc * laser),
            "incident_other_head_mw": inc * laser,
            "through_mw": shown(0.96 * inc * laser * entering),
            "depletion": float(sound * malus * self.eta(here, db)),
            "dark_mw": self.dark_mw + zero,
            "frequency_mhz": peak + self.off_mhz + osc,
            "peak_mhz": peak + shift,
            "fwhm_mhz": self.fwhm(db),
            "rf_power_w": 0.3 * 10 ** (s["rf_db"] / 10),
            "return_loss_db": -10 * np.log10(max(1 - (1 - 10**-1.3) * 10 ** (s["match_db"] / 10), 1e-6)),
            "polarisation_deg": s["turn_deg"],
            "rise_us": 1.6 * float(np.exp(s["wider_ln"])),
            "box_c": 26.0 + s["box_k"],
            "crystal_c": CRYSTAL_TEMPERATURE_C + s["crystal_k"],
            "supply_v": 15.0 + s["supply_v"],
        }  # fmt: skip


def size_of(rng: np.random.Generator, key: str, bench: Bench) -> float:
    """Return the size of a fault that leaves 20 to 80 % of the light."""
    left, sign = float(rng.uniform(0.2, 0.8)), float(rng.choice([-1.0, 1.0]))
    bare = bench.eta()
    if key in ("laser", "head", "before", "sound", "behind"):
        return float(np.log(left))
    if key in ("oscillator", "mount", "box", "supply"):
        turned = -1.0 if key in ("mount", "box") else 1.0
        offset = optimize.brentq(lambda x: bench.eta(turned * sign * x) - left * bare, 0.0, 0.28)
        return sign * float(offset) / {"box": 0.046, "supply": 0.55}.get(key, 1.0)
    if key in ("rf_weak", "match"):
        return float(optimize.brentq(lambda db: bench.eta(0.0, db) - left * bare, -40.0, 0.0))
    if key == "rf_strong":
        top, end = -10 * np.log10(bench.ratio), 10 * np.log10(2.6 / bench.ratio)
        left = max(left, float(bench.eta(0.0, end) / bare) + 1e-6)
        return float(optimize.brentq(lambda db: bench.eta(0.0, db) - left * bare, top, end))
    if key == "wider":
        whole = bench.through(1.0)
        return float(optimize.brentq(lambda x: bench.through(np.exp(x)) - left * whole, 0.0, 3.0))
    return {
        "zero": -(1.0 - left), "polarisation": float(np.degrees(np.arccos(left**0.5))),
        "crystal": sign * float(rng.uniform(8.0, 20.0)), "full": left, "nothing": 0.0,
    }[key]  # fmt: skip


def drawn(rng: np.random.Generator, key: str) -> tuple[dict[str, UFloat | float], Callable[[str], UFloat]]:
    """Return the stored numbers of a bench, and what reads today's true value of a name with its noise."""
    line = SKERRY.lines[rng.integers(len(SKERRY.lines))]
    bench = Bench(line, float(rng.uniform(0.25, 1.0)), float(rng.normal(0.0, 0.005)))
    state = {b: 0.0 for c in causes().values() for b in c.branches}
    then = bench.now(state)
    for cause in causes().values():
        if cause.wander > 0:
            state[cause.branches[0]] += float(rng.normal(0.0, cause.wander))
    size, full = size_of(rng, key, bench), 1.5 * then["light_mw"]
    if key == "full":
        full = size * then["light_mw"]
    elif key != "nothing":
        state[causes()[key].branches[0]] = size
    today = bench.now(state, full)

    def read(name: str, values: dict[str, float]) -> UFloat:
        u = readings()[name].u_of(values[name])
        return ufloat(values[name] + rng.normal(0.0, u), u)

    stored: dict[str, UFloat | float] = {
        n: read(n, then) for n in then if n not in ("light_other_head_mw", "incident_other_head_mw")
        and not n.startswith(("light_best", "light_half"))
    }  # fmt: skip
    stored |= {"detuning_mhz": 0.0, "range_mw": ufloat(full, 0.003 * full), "aperture_mm": 2.0, "beam_diameter_mm": 1.6}
    true = {"drive_ratio": bench.ratio, "mhz_per_k": -0.046, "mhz_per_supply_v": 0.55, "relative_per_k": 4.6e-5}
    for name, value in true.items():
        u = 0.04 * abs(value)
        stored[name] = ufloat(value + rng.normal(0.0, u), u)
    return stored, lambda name: read(name, today)


def judged(tree: FaultTree, key: str) -> tuple[bool, bool, bool, bool]:
    """Return whether the right cause is first, open, alone; and whether another stands alone."""
    first = tree.first.cause.key == key
    open_ = first or key in [r.cause.key for r in tree.rivals]
    return first, open_, first and tree.decided, not first and tree.decided


def _led(benches: int) -> int:
    """Return how many of the benches are led by the tree, which takes longest."""
    return max(benches // 20, 5)


def led(stored: dict[str, UFloat | float], read: Callable[[str], UFloat]) -> FaultTree:
    """Return the tree once it is decided, by the readings that it asks for."""
    today = {name: read(name) for name in LED}
    tree = half_the_light(stored, today)
    while tree.next_reading is not None and len(today) < MOST:
        name = tree.next_reading.reading.key
        today[name] = read(name)
        tree = half_the_light(stored, today)
    return tree


def run(key: str, benches: int, seed: int) -> tuple[object, ...]:
    """Return the row of one cause."""
    rng = np.random.default_rng(seed)
    quick, whole, guided, minutes = [], [], [], []
    for k in range(benches):
        stored, read = drawn(rng, key)
        quick.append(judged(half_the_light(stored, {n: read(n) for n in QUICK}), key))
        whole.append(judged(half_the_light(stored, {n: read(n) for n in readings()}), key))
        if k < _led(benches):
            tree = led(stored, read)
            guided.append(judged(tree, key))
            names = [*tree.evidence.names, *(s.cause.reading for s in tree.seen)]
            minutes.append(sum(readings()[n].minutes for n in names))
    shares = [f"{100 * np.mean([g[i] for g in group]):.1f}" for group in (quick, whole, guided) for i in range(4)]
    return (key, *shares, f"{np.median(minutes):g}")


def main() -> None:
    """Run all causes and write the table."""
    benches = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    heads = [
        "cause",
        *(f"{s} {w}" for s in ("quick", "all", "led") for w in ("first", "open", "alone", "wrong")),
        "min",
    ]
    rows = []
    for i, key in enumerate(["nothing", *causes()]):
        rows.append(run(key, benches, 70 + i))
        print(*rows[-1], file=sys.stderr, flush=True)
    write_table("fault_tree", heads, rows, ABOUT.format(benches=benches, led=_led(benches)))


if __name__ == "__main__":
    main()
