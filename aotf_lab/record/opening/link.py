"""The verdict on one link of the bench: use it, use it corrected, or measure it again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.coupled_waves import detuning_for_light, light_lost
from aotf_lab.record.opening.condition import conditioned, innovation, with_doubt
from aotf_lab.record.opening.judge import LEVER, Judgement, judged
from aotf_lab.record.opening.prior import DriftPrior, changes
from aotf_lab.record.stored import StoredNumbers

__all__ = ["MATTERS", "NORMAL_95", "TOO_MUCH", "CheckReading", "LinkCheck", "Question", "checked_link"]

Verdict = Literal["use", "corrected", "measure again"]

MATTERS = 0.01
"""Share of the light below which a shift, however well seen, leaves the verdict at "use"."""

TOO_MUCH = 0.10
"""Share of the light that what is still unknown after the update may cost at 95 %."""

NORMAL_95 = 1.959963984540054
"""Half of a 95 % interval over u, where the u itself is certain."""


@dataclass(frozen=True)
class CheckReading:
    """One reading of the check: where, what it says (true MHz), and how far from the kept curve, u of that gap.

    ``u_gap_mhz`` is that of the prediction: of the curve, the reading and what they do not share.
    """

    place: str
    frequency_mhz: float
    gap_mhz: float
    u_gap_mhz: float


@dataclass(frozen=True, eq=False)
class LinkCheck:
    """What the check says of one link.

    ``shift_mhz`` with its u is how far it has moved at the readings, ``tilt_mhz`` how much more at the upper end of
    the range than in its middle (None where no tilt is needed). ``light_lost`` is the share of light that the largest
    correction at a reading costs set-points that are left as they are; ``still_lost`` what the uncertainty after the
    update may cost at 95 %, at the line that fares worst. ``expected_mhz`` (value, u) is what its temperature makes of
    it, where that is known. ``reason`` says why it must be measured again, "" otherwise. ``matters_mhz`` is the shift
    from which on more light is lost than ``MATTERS``, NaN where no passband is known.
    """

    link: Literal["oscillator", "crystal"]
    verdict: Verdict
    shift_mhz: float
    u_shift_mhz: float
    tilt_mhz: float | None
    judgement: Judgement
    readings: tuple[CheckReading, ...]
    light_lost: float
    still_lost: float
    expected_mhz: tuple[float, float] | None
    reason: str
    matters_mhz: float


@dataclass(frozen=True, eq=False)
class Question:
    """What a check asks of one link.

    ``rows`` (m, n) make the readings out of the ``kept`` numbers (n), ``columns`` (n, 3) are the drifts, ``lines``
    (k, n) make the frequencies in use, ``fwhm_mhz`` is the narrowest passband (NaN where unknown). ``unit_mhz`` is what
    one unit of shift is at the readings. ``caution`` is the coverage factor of the kept numbers over ``NORMAL_95``.
    """

    link: Literal["oscillator", "crystal"]
    kept: StoredNumbers
    rows: FloatArray
    readings: StoredNumbers
    columns: FloatArray
    prior: DriftPrior
    lines: FloatArray
    fwhm_mhz: float
    unit_mhz: float
    caution: float
    expected_mhz: tuple[float, float] | None


def checked_link(asked: Question) -> tuple[LinkCheck, StoredNumbers]:
    """Return the verdict and the numbers after the check: updated, or as they were where they must be measured again.

    The update takes in what the readings say even where the verdict is "use": how far the link moved is not known
    better than they tell.
    """
    new = innovation(asked.kept, asked.rows, asked.readings)
    columns = asked.rows @ asked.columns
    found = judged(new, columns[:, :2], asked.caution)
    doubt = changes(asked.columns, found, asked.prior)
    updated = conditioned(with_doubt(asked.kept, doubt), asked.rows, asked.readings)
    moved_mhz = float(np.max(np.abs(columns[:, : len(found.sizes)] @ found.sizes)))
    lost, still = _cost(moved_mhz, asked.fwhm_mhz), _cost(asked.caution * _widest(updated, asked.lines), asked.fwhm_mhz)
    reason = _reason(asked, columns, new.gap, found, still)
    matters = found.moved and not (lost < MATTERS)
    verdict: Verdict = "measure again" if reason else "corrected" if matters else "use"
    check = LinkCheck(
        asked.link, verdict, float(found.sizes[0]) * asked.unit_mhz, float(found.u[0]) * asked.unit_mhz,
        float(found.sizes[1]) * asked.unit_mhz if len(found.sizes) > 1 else None, found,
        tuple(map(CheckReading, asked.readings.names, asked.readings.values.tolist(), new.gap.tolist(),
                  np.sqrt(np.diag(new.covariance)).tolist())),
        lost, still, asked.expected_mhz, reason, float(detuning_for_light(1 - MATTERS)) * asked.fwhm_mhz,
    )  # fmt: skip
    return check, asked.kept if reason else updated


def _widest(numbers: StoredNumbers, lines: FloatArray) -> float:
    """Return the largest half width (MHz) of the 95 % intervals of the frequencies in use."""
    variance = np.einsum("ij,jk,ik->i", lines, numbers.covariance(), lines)
    return NORMAL_95 * float(np.sqrt(np.max(variance)))


def _cost(offset_mhz: float, fwhm_mhz: float) -> float:
    """Return the share of light lost, 1 from the first null on; NaN without a passband."""
    return float(light_lost(min(offset_mhz / fwhm_mhz, 1.0))) if fwhm_mhz > 0 else float("nan")


def _reason(asked: Question, columns: FloatArray, gap: FloatArray, found: Judgement, still: float) -> str:
    """Return why the link must be measured again, "" where it need not."""
    most_mhz = asked.prior.reach * asked.prior.shift * asked.unit_mhz
    far = abs(found.sizes[0]) * asked.unit_mhz > most_mhz
    if far and (found.same_shape or bool(np.all(np.abs(gap) > most_mhz))):
        return f"a shift beyond {1e3 * most_mhz:.0f} kHz is no drift: look for what was changed, or for a wrong reading"
    if not found.same_shape:
        said = (
            f"after a plain shift the readings disagree: chi2 = {found.chi2:.1f} on {found.dof} degrees of freedom, "
            f"limit {found.limit:.1f}; "
        )
        if found.odd is not None:
            odd = asked.readings.names[found.odd]
            return said + f"without {odd} the others agree: repeat that one; if it stays, measure the curve anew"
        if np.ptp(columns[:, 1] / columns[:, 0]) <= LEVER:
            return said + "all were read at one place: wait until it is steady, and read again"
        if len(asked.readings) == 2:
            return said + "a third reading tells a tilt from a change of shape"
        return said + "the curve has changed its shape: measure it anew"
    if still > TOO_MUCH:
        away = float(detuning_for_light(1 - TOO_MUCH)) * asked.fwhm_mhz
        return (
            f"what is left unknown exceeds {1e3 * away:.0f} kHz at 95 % at a line, {100 * TOO_MUCH:.0f} % of light: "
            "add readings over the range, or measure it anew"
        )
    return ""
