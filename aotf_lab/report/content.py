"""What to set for each line, how sure that is and why, as text; the template only lays it out."""

from __future__ import annotations

from collections.abc import Iterable

from uncertainties import UFloat

from aotf_lab.planning import SetPoint, SetPoints
from aotf_lab.report.preflight_rows import rounded_down
from aotf_lab.report.words import light, measured

__all__ = ["DETAIL_HEADS", "NOTES", "SET_POINT_HEADS", "budget_rows", "detail_rows", "set_point_rows", "without"]

SET_POINT_HEADS = (
    "Line",
    "Drive (V)",
    "RF power (W)",
    "Amplifier supply (V)",
    "Wavelength in vacuum (nm)",
    "Frequency (MHz)",
    "Efficiency",
    "Light lost, at most",
)

DETAIL_HEADS = (
    "Line",
    "u of the setting, share of FWHM",
    "u of the drive (mV)",
    "Drive by another meter (V)",
    "Largest cause",
    "Remarks",
)

NOTES = (
    "Drive in volts as the voltmeter of the oscillator's readings shows; another meter or a generator adds its own "
    "error (\u201cDrive by another meter\u201d). Set RF power to the watts shown on the bench's own scope: the supply "
    "makes them in a matched load, by the meter of the level's readings. Watts count, volts only help to find them.",
    "\u201cLight lost, at most\u201d is what the line loses at the 95 % limit of its set-point's frequency error; "
    "\u201cat most\u201d means the 95 % limit everywhere here. u is the standard uncertainty (k = 1), FWHM the full "
    "width of a passband at half of its light, \u201cthe port\u201d the oscillator's control input.",
)


def set_point_rows(points: SetPoints, highest_v: float | None) -> list[tuple[str, ...]]:
    """Return what to set as text, a row a line; no supply in it is above ``highest_v``, the safe one."""
    return [
        (
            f"{p.line} (doubtful)" if p.doubtful else p.line,
            measured(p.drive_v),
            measured(p.rf_power_w),
            _supply(p.supply_v, highest_v),
            measured(p.wavelength_nm),
            measured(p.frequency_mhz),
            measured(p.efficiency),
            light(p.light_lost_percent),
        )
        for p in points
    ]


def _supply(supply_v: UFloat | None, highest_v: float | None) -> str:
    """Return a supply as text: rounding to the digits of its uncertainty must not lift it above the safe one."""
    if supply_v is None or highest_v is None:
        return measured(None)
    text = measured(supply_v)
    return text if float(text.partition("(")[0]) <= highest_v else rounded_down(min(supply_v.n, highest_v))


def detail_rows(points: SetPoints, errors: Iterable[Exception] = ()) -> list[tuple[str, ...]]:
    """Return how sure each set-point is, and why, as text; ``errors`` stand on the page already."""
    told = [str(error) for error in errors]
    return [_detail_row(p, told) for p in points]


def without(remark: str, errors: Iterable[str], instead: str = "") -> str:
    """Return ``remark`` with ``instead`` in the place of each of ``errors`` that it repeats.

    >>> without("no oscillator curve: too few readings; beyond the anchors", ["too few readings"])
    'no oscillator curve; beyond the anchors'
    """
    for error in errors:
        remark = remark.replace(f": {error}", instead)
    return remark


def _detail_row(point: SetPoint, errors: list[str]) -> tuple[str, ...]:
    origin = {
        "own peak": "set to its own peak",
        "carrier": "set to the best carrier",
        "tuning curve": "from the tuning curve",
    }.get(point.origin, "")
    return (
        point.line,
        "–" if point.share_of_fwhm is None else _percent(100 * point.share_of_fwhm),
        "–" if point.drive_v is None else f"{1e3 * point.drive_v.s:.1f}",
        measured(point.drive_other_meter_v),
        point.largest_cause,
        "; ".join(filter(None, (origin, without(point.remark, errors, " (why: \u201cChecks that failed\u201d)")))),
    )


def _percent(percent: float) -> str:
    return f"{percent:.1f} %" if percent >= 0.05 else "less than 0.1 %"


def budget_rows(points: SetPoints) -> list[tuple[str, list[str]]]:
    """Return the share (percent) of each cause in the variance of each reachable set-point."""
    reached = [(p.line, _general(p)) for p in points if p.budget]
    names = dict.fromkeys(cause for _, shares in reached for cause, share in shares.items() if share >= 0.005)
    return [(n, [f"{100 * shares.get(n, 0.0):.0f}" for _, shares in reached]) for n in names]


def _general(point: SetPoint) -> dict[str, float]:
    """Return the budget of a set-point with its own scan named as such, so that lines can be compared."""
    own = f"scatter of the scan of line {point.line}"
    return {"scatter of its own scan" if cause == own else cause: share for cause, share in point.budget.items()}
