"""Are differences as uncertain as they say where what is taken apart shares its cause of error?

``python -m tests.benchmarks.causes [benches]``. A label and the tuning curve fitted through it: truth and lines as
for ``tests.benchmarks.tuning``, u of wavelength 0.08 to 0.1 nm, u of frequency 5 kHz; each number also as it would be
if the label scattered in the fit and were a cause of its own outside. The light of one line at its peak and 0.06 MHz
beside it, full width 0.30 MHz, near full drive, where the error of P_sat acts in the second order too.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from collections import defaultdict
from collections.abc import Iterator

import numpy as np
from uncertainties import UFloat, ufloat

from aotf_lab.crystal.passbands.passband import Passband
from aotf_lab.crystal.passbands.width import half_height_span
from aotf_lab.crystal.tuning.curve import Tuning, fit_tuning
from tests.benchmarks.table import RESULTS, markdown
from tests.benchmarks.tuning_bench import ANCHORS, Floats, Lines, lines_of, measured, true_frequency

ONE, APART = "one cause", "two causes"


def numbers(tuning: Tuning, labels: list[UFloat], lines: Lines, cut: Floats) -> Iterator[tuple[str, UFloat, float]]:
    """Yield (what, number, truth): by the curve at labels, and of lines that it found against labels.

    ``cut`` are the true frequencies (MHz) of the lines, and after them of a line between the first two.
    """
    between = (lines.nm[0] + lines.nm[1]) / 2
    for k in (0, len(labels) // 2):
        yield "frequency at the label of an anchor", tuning.frequency(labels[k]), float(cut[k])
    found = tuning.wavelength(float(cut[-1]))
    yield "line found, less the label beside it", found - labels[0], between - lines.nm[0]
    ends = tuning.frequency(labels[0]) - tuning.frequency(labels[-1])
    yield "from the first anchor to the last", ends, float(cut[0] - cut[len(labels) - 1])
    product = 1e-3 * tuning.frequency(labels[0]) * labels[0]
    yield "v B at the label of an anchor", product, 1e-3 * float(cut[0]) * lines.nm[0]


def run(lines: Lines, benches: int, seed: int) -> dict[tuple[str, str], list[tuple[bool, float]]]:
    """Return whether each 95 % interval held the truth, and its u, by number and by how labels were taken."""
    rng = np.random.default_rng(seed)
    told: dict[tuple[str, str], list[tuple[bool, float]]] = defaultdict(list)
    names = [f"line {k}" for k in range(len(lines.nm))]
    for incidence in rng.uniform(10, 25, benches):
        places = np.append(lines.nm, (lines.nm[0] + lines.nm[1]) / 2)
        cut = true_frequency(places, incidence, 0.0)
        table = measured(lines, cut[:-1], rng).assign(label=names)
        labels = [ufloat(nm, u) for nm, u in zip(table["wavelength_nm"], table["u_wavelength_nm"], strict=True)]
        stated = dict(zip(names, labels, strict=True))
        for how, tuning in ((ONE, fit_tuning(table, stated_nm=stated)), (APART, fit_tuning(table))):
            for what, value, truth in numbers(tuning, labels, lines, cut):
                low, high = tuning.fit.interval(value)
                told[what, how].append((low <= truth <= high, value.s))
    return told


def light(drive_ratio: float, relative: float, benches: int, seed: int) -> dict[str, float]:
    """Return the coverage (%) of the light at the peak, and of its difference and sum with that beside it.

    P_sat of 0.4 W is known to ``relative``, the peak efficiency to 0.003, the passband as good as exactly.
    """
    rng, power, places = np.random.default_rng(seed), 0.4 * drive_ratio, np.array([64.0, 64.06])
    rate, skew = ufloat(half_height_span(0.0, 0.1) / 0.30, 1e-5), ufloat(0.1, 1e-5)

    def band(saturation_w: UFloat, peak: UFloat) -> Passband:
        return Passband("E", 589.1, ufloat(64.0, 1e-6), rate, skew, saturation_w, peak)

    true = band(ufloat(0.4, 1e-9), ufloat(0.88, 1e-9)).nominal(places, power)
    held: dict[str, list[bool]] = defaultdict(list)
    for off, peak_off in rng.standard_normal((benches, 2)):
        known = band(ufloat(0.4 * (1 + relative * off), 0.4 * relative), ufloat(0.88 + 0.003 * peak_off, 0.003))
        at, beside = known.efficiency(places, power)
        for what, value, truth in (
            ("at the peak", at, true[0]), ("difference", at - beside, true[0] - true[1]),
            ("sum", at + beside, true.sum()),
        ):  # fmt: skip
            held[what].append(abs(value.n - truth) < 1.96 * value.s)
    return {what: 100 * float(np.mean(inside)) for what, inside in held.items()}


def main(benches: int) -> None:
    rows = []
    for anchors in ANCHORS:
        told = run(lines_of(anchors), benches, seed=31)
        for what in dict.fromkeys(w for w, _ in told):
            (held, u), (held_apart, u_apart) = (np.array(told[what, how], dtype=float).T for how in (ONE, APART))
            covered, smaller = (f"{100 * h.mean():.1f}" for h in (held, held_apart)), f"{np.median(u / u_apart):.2f}"
            rows.append([anchors, what, *covered, smaller])
        print(f"done: {anchors}", flush=True)
    lights = [
        [f"{ratio:g}", f"{100 * relative:g}", *(f"{c:.1f}" for c in light(ratio, relative, benches, 5).values())]
        for ratio in (0.8, 1.0, 1.1)
        for relative in (0.03, 0.06, 0.10)
    ]
    tables = (
        (f"A label and the curve through it: 95 % intervals that hold the truth, in % of {benches} benches", rows,
         ("lines", "number", "one cause", "two causes", "u, one over two")),
        (f"Light of one line at two frequencies: 95 % intervals that hold the truth, in % of {benches} benches", lights,
         ("P / P_sat", "u of P_sat (%)", "at the peak", "difference", "sum")),
    )  # fmt: skip
    text = "\n\n".join(f"## {title}\n\n{markdown(heads, body)}" for title, body, heads in tables)
    text = f"# causes\n\n{(__doc__ or '').strip()}\n\n{text}\n"
    (RESULTS / "causes.md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
