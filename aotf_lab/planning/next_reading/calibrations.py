"""Which calibration lessens a cause that all readings of a kind share, and how far."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from uncertainties import UFloat
from uncertainties.core import AffineScalarFunc, LinearCombination

from aotf_lab.driver import Vco
from aotf_lab.planning.next_reading.look import CALIBRATION, Candidate, Look
from aotf_lab.planning.next_reading.wanted import Wanted

__all__ = ["calibrations", "cure_for"]


@dataclass(frozen=True)
class _Cure:
    """What to do against ``causes``; afterwards their common part is known to ``u_left``: of the cause itself, or of
    the wanted value where ``relative``."""

    causes: tuple[str, ...]
    words: str
    u_left: float
    relative: bool = False


_BACKLASH = "backlash of the pot"

_CURES = (
    _Cure(("counter time base",), "compare the counter's time base with a 10 MHz reference of 0.1 ppm", 1e-7),
    _Cure(
        ("scope gain", "pad", "load", "mismatch", "scope bandwidth", "harmonics (rms)", "harmonics (peak to peak)",
         "pad or probe not stated"),
        "calibrate the scale of RF power once against a power meter of 1 %", 0.01, relative=True,
    ),
    _Cure((_BACKLASH,), "set every voltage from one side only, and ask for the curve of that side", 0.0),
    _Cure(("voltmeter gain",), "compare the voltmeter with a reference of 0.02 %", 2e-4),
    _Cure(("voltmeter offset",), "short the voltmeter's leads and note what it shows, to 0.2 mV", 2e-4),
    _Cure(("power meter gain",), "compare the power meter with a calibrated head of 1 %", 0.01),
)  # fmt: skip
"""What each achieves is what such references are sold with (common practice, no source)."""


def cure_for(cause: str) -> str:
    """Return in words which calibration lessens ``cause``, "" where none is known."""
    return next((cure.words for cure in _CURES if cause in cure.causes), "")


def calibrations(wanted: Sequence[Wanted], vco: Vco | None = None) -> Iterator[Candidate]:
    """Yield each calibration that touches a cause of error of one of ``wanted``.

    Setting from one side only leaves half of what the ``vco``'s up/down difference is uncertain by.
    """
    for cure in _CURES:
        parts = [(_part(w.value, cure.causes), w) for w in wanted]
        part, whose = max(parts, key=lambda p: p[0].s / p[1].scale)
        if part.s <= 0:
            continue
        if cure.relative:
            look = Look(part, cure.u_left * abs(float(whose.value.n)))
        else:
            (variable, _), *_ = part.derivatives.items()
            difference = None if vco is None or _BACKLASH not in cure.causes else vco.backlash_v
            look = Look(1.0 * variable, cure.u_left if difference is None else 0.5 * float(difference.s))
        yield Candidate(CALIBRATION, cure.words, (look,), 1, line=cure.causes[0])


def _part(value: UFloat, causes: tuple[str, ...]) -> UFloat:
    """Return the part of ``value``'s error that ``causes`` make."""
    own = {v: d for v, d in value.derivatives.items() if v.tag in causes and v.s > 0}
    return AffineScalarFunc(0.0, LinearCombination(own))
