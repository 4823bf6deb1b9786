"""Damaged raw files: how each kind of damage ends, and whether ever with other numbers than the file says.

``python -m tests.benchmarks.reading_faults [cases] [first seed]``; exits 1 when a case is wrong, and prints
base and steps for ``tests/reading_faults_seeds.toml``. The judge reads every file strictly and apart from
the package. Kinds: *flip* one byte changed, *insert*, *delete* one byte; *drop*, *duplicate*, *reorder* a
line; *truncate* at any byte; *locale* the same numbers in another manner of writing; *unit* another unit in
the heading, numbers converted; *paste* one line in the manner of another land; *several* two or three of them.
"""

from __future__ import annotations

import re
import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.benchmarks.table import write_table
from tests.reading_faults import KINDS, Case, random_case
from tests.reading_faults_bases import BASES
from tests.reading_faults_oracle import Outcome, judged

CASES = 24_000
KINDS_OF_END = ("numbers", "flagged", "error")


def touched_line(case: Case) -> int | None:
    """Return the 1-based line of a flipped byte, None where several lines may be touched."""
    if case.touched is None or case.base.style.encoding.startswith("utf-16"):
        return None
    before, byte = case.content[: case.touched], case.content[case.touched : case.touched + 1]
    return None if byte in b"\r\n" else len(re.findall(rb"\r\n|\n|\r", before)) + 1


def main() -> int:
    """Run the cases, write the table, print what is wrong; return 1 when something is."""
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else CASES
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1_000
    ends: Counter[tuple[str, str]] = Counter()
    wrong: list[tuple[int, Case, Outcome]] = []
    near: Counter[bool] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(first, first + cases):
            case = random_case(seed)
            outcome = judged(case, Path(folder))
            kind = case.kinds[0] if len(case.steps) == 1 else "several" if case.steps else "none"
            ends[kind, "wrong" if outcome.wrong else outcome.kind] += 1
            if outcome.wrong:
                wrong.append((seed, case, outcome))
            line = touched_line(case)
            if line and outcome.line:
                near[line == outcome.line] += 1
    rows = [
        (k, sum(ends[k, e] for e in (*KINDS_OF_END, "wrong")), *(ends[k, e] for e in (*KINDS_OF_END, "wrong")))
        for k in (*KINDS, "several", "none")
    ]
    rows.append(("all", *(sum(int(r[c]) for r in rows) for c in range(1, 6))))
    share = f"{100 * near[True] / max(1, sum(near.values())):.1f} % of {sum(near.values())}"
    about = (
        f"{(__doc__ or '').strip()}\n\n{len(BASES)} good files, {cases} cases. Of one byte flipped that ended "
        f"in an error, the error named the very line of that byte in {share}; in the others another line that the byte "
        "puts in doubt (a heading, the first of the rows that disagree)."
    )
    heads = (
        "damage",
        "cases",
        "right numbers, all rows",
        "rows flagged or rejected",
        "error with file and line",
        "wrong",
    )
    if len(sys.argv) == 1:
        write_table("reading_faults", heads, rows, about)
    else:
        print(share, *rows, sep="\n")
    for seed, case, outcome in wrong[:200]:
        print(
            f'\n# seed {seed}: {outcome.wrong[:300]}\n[[case]]\nbase = "{case.base.name}"\nsteps = {list(case.steps)}'
        )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
