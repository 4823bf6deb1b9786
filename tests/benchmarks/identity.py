"""Which line is each peak? On simulated benches: how often right, how often surely wrong, how often "ambiguous".

``python -m tests.benchmarks.identity [benches]``. Benches as in ``identity_bench``: the scale of the tuning curve is
unknown, cuts of 7 to 30 deg, the dispersion's pole within 1 nm, centres known to 5 to 30 kHz. "Right" is every peak
right, none of the lines included. The naive way: f x wavelength = constant, nearest lines.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from aotf_lab.crystal.cut import fit_cut
from aotf_lab.crystal.identity.identify import identify
from aotf_lab.crystal.identity.identity import Identity
from tests.benchmarks.identity_bench import Bench, bench, measured, naive, own_lines, random_cut
from tests.benchmarks.table import RESULTS, markdown
from tests.benchmarks.timing import milliseconds

OWN: dict[str, dict[str, Any]] = {
    "seven anchors": {},
    "four anchors, three diodes (u 3 nm)": {"diodes": 3},
    "one line absent from the catalogue": {"absent": 1},
    "three diodes, one line absent": {"diodes": 3, "absent": 1},
    "one ghost among the peaks": {"ghosts": 1},
    "two ghosts and a stray peak, three diodes": {"diodes": 3, "ghosts": 2, "strays": 1},
}
PACKAGED: dict[str, dict[str, Any]] = {
    "packaged catalogue": {"packaged": True},
    "packaged catalogue, one line absent": {"packaged": True, "absent": 1},
    "packaged catalogue, one ghost": {"packaged": True, "ghosts": 1},
}


@dataclass
class Tally:
    right: int = 0
    sure_right: int = 0
    sure_wrong: int = 0
    ambiguous: int = 0
    no_fit: int = 0
    naive_right: int = 0
    count: int = 0
    sizes: list[int] = field(default_factory=list)

    def add(self, case: Bench, found: Identity) -> None:
        right = is_right(case, found)
        self.count += 1
        self.right += right
        self.sure_right += right and not found.ambiguous
        self.sure_wrong += not right and not found.ambiguous
        self.ambiguous += found.ambiguous
        self.sizes.append(found.remaining)
        self.naive_right += naive(case) == case.truth

    def row(self) -> list[str]:
        shares = (self.right, self.sure_right, self.sure_wrong, self.ambiguous, self.naive_right)
        return [*(f"{100 * n / self.count:.2f}" for n in shares), f"{np.median(self.sizes):.0f}"]


def is_right(case: Bench, found: Identity) -> bool:
    """Whether each peak is its line; lines that count as one are known by their wavelength."""
    for peak, line in found.lines.items():
        true = case.truth[peak]
        if line is None or true is None:
            if line is not None or true is not None:
                return False
        elif case.catalogue is None or line.note.startswith("also"):
            if abs(line.wavelength_nm - case.true_nm[peak]) > 0.3:
                return False
        elif line.name != true:
            return False
    return True


def run(benches: int, peaks: int, setting: dict[str, Any], scaled: bool = False) -> Tally:
    rng, tally = np.random.default_rng(1000 + peaks), Tally()
    for _ in range(benches):
        case = bench(rng, peaks, **setting)
        tally.add(case, identify(case.peaks, case.catalogue, scale=guess(case, rng) if scaled else None))
    return tally


def guess(case: Bench, rng: np.random.Generator) -> Any:
    """Return the cut from one line seen by eye: its wavelength +- 1 nm, its peak +- 0.3 MHz."""
    f = float(case.cut.frequency(np.array([600.0]))[0])
    one = {"wavelength_nm": [600 + rng.standard_normal()], "u_wavelength_nm": 1.0}
    return fit_cut(pd.DataFrame({**one, "frequency_mhz": f + 0.3 * rng.standard_normal(), "u_frequency_mhz": 0.3}))


def labels(benches: int, diodes: int, swaps: int) -> list[str]:
    """Return how often labels exchanged in ``swaps`` places are named, and nothing else, and false alarms."""
    rng = np.random.default_rng(50 + 10 * diodes + swaps)
    named = some = alarms = other = 0
    for _ in range(benches):
        lines, nm = own_lines(rng, diodes)
        cut, names = random_cut(rng), list(nm)
        read = measured(cut, nm, names, rng)
        true = dict(zip(read, names, strict=True))
        said = dict(true)
        moved = [str(p) for p in rng.permutation(list(read))[:swaps]]
        for p, q in zip(moved, moved[1:] + moved[:1], strict=True):
            said[p] = true[q]
        exchange = identify(read, lines, labels=said).exchange
        assert exchange is not None
        if exchange.found and swaps:
            put = {p: line.name for p, line in exchange.best.items()}
            named += put == true
            other += put != true and all({p: x.name for p, x in r.items()} != true for r in exchange.rivals)
            some += 1
        alarms += exchange.found and not swaps
    if not swaps:
        return ["no label wrong", f"{diodes}", "", "", "", f"{100 * alarms / benches:.2f}"]
    shares = (f"{100 * n / benches:.2f}" for n in (some, named, other))
    return [f"{swaps} labels in a ring" if swaps > 2 else "2 labels exchanged", f"{diodes}", *shares, ""]


def coverage(benches: int, diodes: int) -> list[str]:
    """Return how often the interval of a badly labelled diode's wavelength holds the truth, and its u."""
    rng, hits, u, z = np.random.default_rng(9 + diodes), 0, [], []
    none = 0
    for _ in range(benches):
        case = bench(rng, 7, diodes=diodes)
        found = identify(case.peaks, case.catalogue)
        for each in found.found:
            if each.line is None or each.line.u_wavelength_nm < 1:
                continue
            if each.wavelength_nm is None:
                none += 1
                continue
            z.append((each.wavelength_nm.n - case.true_nm[each.peak]) / each.wavelength_nm.s)
            u.append(each.wavelength_nm.s)
    hits = int(np.sum(np.abs(z) < 1.96))
    tail = f"{np.quantile(u, 0.9):.2f}"
    return [f"{diodes}", f"{100 * hits / len(z):.1f}", f"{np.std(z):.3f}", f"{np.median(u):.3f}", tail, f"{none}"]


def main(benches: int) -> None:
    rows = []
    plans = [(n, s, k, False) for n, s in OWN.items() for k in (2, 3, 4, 5, 7)]
    plans += [(n, s, k, False) for n, s in PACKAGED.items() for k in (4, 5, 7)]
    by_eye = "seven anchors", "packaged catalogue"
    plans += [(f"{n}, scale from one line by eye", (OWN | PACKAGED)[n], k, True) for n in by_eye for k in (2, 4)]
    for name, setting, peaks, scaled in plans:
        if setting.get("absent", 0) >= peaks:
            continue
        rows.append([name, str(peaks), *run(benches, peaks, setting, scaled).row()])
        print(rows[-1], flush=True)
    swapped = [labels(benches, d, s) for d in (0, 3) for s in (0, 2, 3)]
    covered = [coverage(benches, d) for d in (1, 3)]
    case = bench(np.random.default_rng(3), 7, packaged=True)
    four = dict(list(case.peaks.items())[:4])
    ms = [
        [f"{len(p)} peaks, packaged catalogue", f"{milliseconds(lambda p=p: identify(p)):.0f}"]
        for p in (four, case.peaks)
    ]
    tables = (
        (f"Which line is each peak, in % of {benches} benches", rows,
         ("benches", "lines seen", "best is right", "sure and right", "sure and wrong", "ambiguous", "naive way right",
          "assignments within the limit (median)")),
        (f"Exchanged labels among seven, in % of {benches} benches", swapped,
         ("labels", "diodes (u 3 nm)", "exchange found", "named right, the first", "truth not named", "false alarms")),
        (f"Wavelength of badly labelled diodes, found by the others, {benches} benches of seven lines", covered,
         ("diodes", "95 % interval holds the truth (%)", "scatter of z", "median u (nm)", "90 % of u below (nm)",
          "not found")),
        ("Processor time", ms, ("identify", "ms")),
    )  # fmt: skip
    text = "\n\n".join(f"## {title}\n\n{markdown(heads, body)}" for title, body, heads in tables)
    text = f"# identity\n\n{(__doc__ or '').strip()}\n\n{text}\n"
    (RESULTS / "identity.md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
