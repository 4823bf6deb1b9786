"""Is a file, or a part of it, in the session twice?"""

from __future__ import annotations

from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.equal_rows import equal_blocks, number_columns
from aotf_lab.reading.sanity.scatter import chance_limit
from aotf_lab.reading.sanity.suspicion import Suspicion, lines_of

__all__ = ["same_readings"]


def same_readings(
    first: Readings, second: Readings, names: tuple[str, str] = ("the first", "the second"), *, comparisons: int = 1
) -> tuple[Suspicion, ...]:
    """Return whether two files are one file, hold the same readings, or share a block of rows.

    ``names`` call the two in the text; ``comparisons`` is how many pairs of files are asked in all, so that chance
    alone does not name one of many. Time is passed over: a block pasted from another file has other times. Settings
    that both files visit count for nothing, only readings that scatter.
    """
    where = " and ".join(names)
    rows = tuple(range(len(second.table)))
    hashes = [{s.sha256 for s in r.sources} for r in (first, second)]
    if hashes[0] & hashes[1]:
        return (
            Suspicion(
                "the same file is used twice", where, f"SHA-256 {min(hashes[0] & hashes[1])[:12]}... of both",
                "a file was copied under another name, or is listed twice", "leave one of them out, or name the file"
                " that was meant", rows, unusable=True,
            ),
        )  # fmt: skip
    known = number_columns(second)
    columns = [c for c in number_columns(first) if c in known]
    if not columns or min(len(first.table), len(second.table)) < 3:
        return ()
    runs = equal_blocks(first, second, columns, most=chance_limit(comparisons))
    if not runs:
        return ()
    copied = sorted({j for run in runs for j in run.second})
    origin = sorted({i for run in runs for i in run.first})
    if len(copied) == len(second.table) == len(first.table):
        return (
            Suspicion(
                "two files hold the same readings", where, f"all {len(rows)} rows equal in {', '.join(columns)}",
                "one measurement was saved under two names", "leave one of them out, or name the file that was meant",
                rows, unusable=True,
            ),
        )  # fmt: skip
    chance = max(run.chance for run in runs)
    return (
        Suspicion(
            "a part of one file stands in another", f"{lines_of(second, copied)} and {lines_of(first, origin)}",
            f"{len(copied)} rows equal in {', '.join(columns)}, by chance {chance:.1g}",
            "a block was pasted into the wrong file", "pass the lines over in the file to which they do not belong",
            tuple(copied), unusable=True,
        ),
    )  # fmt: skip
