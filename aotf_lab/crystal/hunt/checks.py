"""What a sweep is asked before its list of peaks is believed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from aotf_lab.crystal.hunt.cut_off import unexplained_ends
from aotf_lab.crystal.hunt.expected import Expected
from aotf_lab.crystal.hunt.features import MOST_WANDER, USUAL_FWHM_MHZ
from aotf_lab.crystal.hunt.fit import HuntSolution
from aotf_lab.crystal.hunt.peak import CONFIDENT, Peak
from aotf_lab.estimation import Check

__all__ = ["FEWEST_OVER_FWHM", "hunt_checks"]

FEWEST_OVER_FWHM = 3.0
MOST_LAG = 0.5


def hunt_checks(solution: HuntSolution, peaks: Sequence[Peak], told: Expected) -> list[Check]:
    """Return the checks of a hunt beyond that of its scatter."""
    if not solution.count:
        none = Check("peaks", False, "no peak stands out of the scatter, 1 or more wanted; is the light on?")
        return [none, _edges(solution, peaks)]
    return [
        _steps(solution, peaks),
        _edges(solution, peaks),
        _lag(solution, peaks),
        _wander(solution),
        _open(peaks, "ambiguous", _what_would_tell(told)),
        _open(peaks, "unexplained", "switch the lasers off one by one to see which it belongs to"),
    ]


def _what_would_tell(told: Expected) -> str:
    """Return what would tell the open peaks, without what was told already."""
    missing = ["scans of these peaks, each as a line of its own,"]
    missing += [] if told.lines else ["lines with a tuning curve"]
    missing += [] if any(h.told for h in told.harmonics) else ["levels of harmonics"]
    return f"{' or '.join(missing)} would tell; or finer steps"


def _named(peaks: Sequence[Peak]) -> str:
    return ", ".join(f"{p.number} ({p.frequency_mhz.n:.2f} MHz)" for p in peaks)


def _steps(solution: HuntSolution, peaks: Sequence[Peak]) -> Check:
    step = solution.sweep.model.table.step_mhz
    main = [p for p in peaks if p.kind != "sidelobe" and p.fwhm_mhz is not None]
    few = [p for p in main if p.fwhm_mhz is not None and p.fwhm_mhz.n < FEWEST_OVER_FWHM * step]
    counts = [p.fwhm_mhz.n / step for p in main if p.fwhm_mhz is not None]
    detail = f"{min(counts, default=0.0):.3g} readings or more over each FWHM in steps of {1e3 * step:.3g} kHz"
    detail = f"{detail}, limit {FEWEST_OVER_FWHM:g}"
    cure = f"{detail}; too few over peak {_named(few)}: sweep there again in finer steps"
    return Check("step", not few, cure if few else detail)


def _edges(solution: HuntSolution, peaks: Sequence[Peak]) -> Check:
    cut = [p for p in peaks if any("edge" in n for n in p.notes)]
    dim = [f"{end:.2f} MHz" for end in unexplained_ends(solution)]
    if not cut and not dim:
        return Check("range", True, "0 peaks at an edge of the sweep, 0 allowed")
    told = [f"{len(cut)} at an edge of the sweep, 0 allowed: peak {_named(cut)}"] if cut else []
    told += [f"light at {' and '.join(dim)}, an edge of the sweep, of which no peak could be made"] if dim else []
    return Check("range", False, f"{'; '.join(told)}; sweep further")


def _lag(solution: HuntSolution, peaks: Sequence[Peak]) -> Check:
    table = solution.sweep.model.table
    lag = solution.lag_steps * table.step_mhz
    widths = [p.fwhm_mhz.n for p in peaks if p.fwhm_mhz is not None and p.kind != "sidelobe"]
    wide = float(np.median(widths)) if widths else USUAL_FWHM_MHZ
    detail = f"the power meter trails by {1e3 * lag.n:.3g} +- {1e3 * lag.s:.2g} kHz, {lag.n / wide:.2g} of the FWHM"
    detail = f"{detail}, limit {MOST_LAG:g}"
    if table.one_way and solution.motion is not None:
        detail += f"; one way only, so each centre carries {1e3 * solution.motion.s:.2g} kHz for the motion in a step"
    passed = bool(lag.n <= MOST_LAG * wide)
    return Check("lag", passed, detail if passed else f"{detail}; sweep more slowly")


def _wander(solution: HuntSolution) -> Check:
    wander = solution.noise.wander
    detail = f"the light differs by {100 * wander:.2g} % from the fitted passbands, limit {100 * MOST_WANDER:g} %"
    cure = "lasers that wander, or a second peak that hides in the flank of each line: scan one line in fine steps"
    return Check("shape", wander <= MOST_WANDER, detail if wander <= MOST_WANDER else f"{detail}; {cure}")


def _open(peaks: Sequence[Peak], kind: str, cure: str) -> Check:
    these = [p for p in peaks if p.kind == kind]
    limit = f"an explanation needs {100 * CONFIDENT:g} % of the weight"
    detail = f"{len(these)} of {len(peaks)} peaks {kind}, {limit}"
    return Check(kind, not these, f"{detail}: peak {_named(these)}; {cure}" if these else detail)
