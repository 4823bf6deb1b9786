"""Readings that cannot be: how often is a good file suspected, and is each fault found and named right?

``python -m tests.benchmarks.sanity [files]``. Good files come from the simulated bench and from five other forms of
oscillator: sweeps with knees, drift, up and down, by the dial; scans with and without the head's lag over one to ten
passbands and coarse hunts in which a peak is one reading wide; efficiency runs; levels over band and supply, shuffled
too; logs of up to two hours at one drive, with coarse displays, gaps and a shutter. Each is asked alone
(``suspicions`` with its facts) and beside another good file of its kind (``suspicions_between``). Faults are put into
files of the same population, one at a time.
"""

from __future__ import annotations

import sys
from collections import Counter

import numpy as np

from aotf_lab.reading.sanity import suspicions, suspicions_between
from tests.benchmarks.sanity_bench import KINDS
from tests.benchmarks.sanity_faults import FAULTS
from tests.benchmarks.table import RESULTS, markdown

NOTES = """"Named right": one suspicion bears the name of the cause and lists exactly the rows concerned (of two files,
those of the second); an alias with a stated sample rate also names the true frequencies, one without may miss the row
next to the fold. "Something else too": another suspicion beside it, or instead. Frozen rows lie at least two
rows from the ends of the file, where nothing shows that the meter was released, and hold a reading below the
largest: a meter that froze there looks as if it ran out of range, and is called so, with both causes. Faults of light
are put above 5 % (10 %) of the peak: below, a wing of the passband hides them."""


def alarms(files: int) -> list[list[str]]:
    rows = []
    for kind, make in KINDS.items():
        rng = np.random.default_rng(11)
        wrong, names = 0, Counter[str]()
        for _ in range(files):
            file, other = make(rng), make(rng)
            readings = file.readings()
            found = suspicions(readings, **file.facts)
            found += suspicions_between({"a.csv": readings, "b.csv": other.readings("b.csv")})
            wrong += bool(found)
            names.update(s.what for s in found)
        words = ", ".join(f"{name}: {count}" for name, count in names.items())
        rows.append([kind, str(files), str(wrong), f"{100 * wrong / files:.2f}", words])
        print("done:", *rows[-1], flush=True)
    return rows


def faults(cases: int) -> list[list[str]]:
    rows = []
    for fault, make in FAULTS.items():
        rng = np.random.default_rng(12)
        judged = np.array([make(rng).judged() for _ in range(cases)])
        right, more = 100 * judged.mean(axis=0)
        rows.append([fault, f"{right:.1f}", f"{more:.1f}"])
        print("done:", *rows[-1], flush=True)
    return rows


def main(files: int) -> None:
    good = markdown(("file", "files", "suspected", "%", "as"), alarms(files))
    bad = markdown(("fault", "named right (%)", "something else too (%)"), faults(max(files // 2, 1)))
    parts = [
        f"# sanity\n\n{(__doc__ or '').strip()}\n\n{NOTES}",
        f"## Nothing wrong\n\n{good}",
        f"## One fault, {max(files // 2, 1)} cases each\n\n{bad}",
    ]
    text = "\n\n".join(parts) + "\n"
    (RESULTS / "sanity.md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
