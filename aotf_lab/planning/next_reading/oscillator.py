"""One more reading of the oscillator, at any voltage and from either side."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from aotf_lab.driver import Vco
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.planning.next_reading.look import Candidate, Look

__all__ = ["KIND", "oscillator_readings"]

KIND = "oscillator reading"
_PLACES = 61
_SIDES = {"up": 0.5, "down": -0.5}
_WAYS = {"up": " on the way up", "down": " on the way down", "": ""}


def oscillator_readings(vco: Vco, places_v: FloatArray | None = None) -> Iterator[Candidate]:
    """Yield a candidate at each of ``places_v`` (n,), by default 61 over the measured range; from either side.

    The counter and the voltmeter are those of the curve: their own errors are in every reading alike.
    """
    places = np.linspace(*vco.range_v, _PLACES) if places_v is None else np.asarray(places_v, dtype=float)
    slopes = vco.curve.slope(places)
    u = vco.fit.birge * np.hypot(vco.u_count_mhz, slopes * vco.u_setting_v)
    weights = np.zeros((len(places), len(vco.numbers.nominal)))
    rows = vco.curve.rows(places)
    weights[:, : rows.shape[1]] = rows
    for side in ("up", "down") if vco.two_sided else ("",):
        if side:
            weights[:, rows.shape[1]] = _SIDES[side] * slopes
        for v, shown, noise in zip(places.tolist(), vco.numbers.combine(weights), u.tolist(), strict=True):
            words = f"read the oscillator at {v:.3g} V{_WAYS[side]}"
            yield Candidate(KIND, words, (Look(shown, noise),), 1, (v,), side=side)
