"""The kind of crystal that session.toml states, against what was measured of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from aotf_lab.crystal.modulator.breadth import LEAST_BANDWIDTH, half_light_mhz, half_light_words
from aotf_lab.session.contradictions.contradiction import Contradiction, ReadFile

__all__ = ["against_kind"]

_STATED = '[crystal] kind = "modulator"'
_OF_A_FILTER = frozenset({"hunt", "spectrum", "leakage", "lines"})
"""Purposes of files that only a tunable filter has; for a modulator nobody reads them."""


def against_kind(reads: Sequence[ReadFile]) -> Iterator[Contradiction]:
    """Yield scans as narrow as a filter's, and files that only a filter has, where a modulator is stated."""
    if not reads or reads[0].facts.crystal.kind != "modulator":
        return
    scans = {r.name: _half_light(r) for r in reads if r.file.purpose == "scan"}
    narrow = {n: found for n, found in scans.items() if found is not None and found[1] < LEAST_BANDWIDTH * found[0]}
    if narrow:
        least = min(narrow.values(), key=lambda found: found[1] / found[0])
        yield Contradiction(
            "scans as narrow as the passband of a tunable filter", _some(list(narrow)), half_light_words(*least),
            f"{_STATED}, whose response is {100 * LEAST_BANDWIDTH:g} % of its carrier wide or more",
            'say kind = "filter" if that is what the crystal is, or name the scans of the modulator', True,
        )  # fmt: skip
    unread = [r for r in reads if r.file.purpose in _OF_A_FILTER]
    if unread:
        purposes = ", ".join(sorted({r.file.purpose for r in unread}))
        yield Contradiction(
            "files that only a tunable filter has", _some([r.name for r in unread]), f"purpose {purposes}", _STATED,
            'say kind = "filter", or purpose = "keep" for these files: nothing is computed from them',
        )  # fmt: skip


def _half_light(read: ReadFile) -> tuple[float, float] | None:
    if not read.has("frequency_mhz", "optical_power_mw"):
        return None
    columns = read.readings.table[["frequency_mhz", "optical_power_mw"]].to_numpy(dtype=float)
    known = columns[np.isfinite(columns).all(axis=1)]
    return half_light_mhz(known[:, 0], known[:, 1]) if len(known) > 2 else None


def _some(names: Sequence[str]) -> str:
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    return ", ".join(names[:3]) + more
