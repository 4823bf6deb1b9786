"""What is asked of a scan's floor, of the ranges of its meter, and of the number of its peaks."""

from __future__ import annotations

from aotf_lab.crystal.scan.attempts import limit
from aotf_lab.crystal.scan.branches import Branches
from aotf_lab.crystal.scan.further import Further
from aotf_lab.crystal.scan.second import BRANCH_LIMIT
from aotf_lab.estimation import Check

__all__ = ["further_checks"]


def further_checks(found: Further, branches: Branches | None) -> list[Check]:
    """Return the checks "floor", "one peak" and, where ranges of the meter were found, "meter ranges"."""
    checks = [_floor_check(found), _peaks_check(found, branches)]
    if found.ranges_found and found.solution.model.ranges is not None:
        checks.append(_ranges_check(found))
    return checks


def _floor_check(found: Further) -> Check:
    most = limit(found.solution)
    detail = f"slope of the floor {found.slope:.2g} +- {found.u_slope:.2g} mW/MHz, limit {most:.1f} times that u"
    if found.moved_mhz is None:
        level = "a level floor was fitted" if abs(found.slope) <= most * found.u_slope else "two peaks explain it"
        return Check("floor", True, f"{detail}: {level}")
    moved = 1e3 * found.moved_mhz
    detail = f"{detail}: a sloping floor was fitted; a level one would have moved the centre by {-moved:.2g} kHz"
    second = found.second
    if second is None or second.believed or second.gained < most**2:
        return Check("floor", True, detail, abs(found.moved_mhz))
    fit = found.solution.fit
    here = fit.parameters["centre_mhz"]
    gap, reach = second.parameters["centre_mhz"].n - here.n, fit.coverage_factor() * here.s
    doubt = f"the slope may be the flank of a second passband, which would move the centre by {1e3 * gap:.2g} kHz"
    doubt = f"{doubt}, limit {1e3 * reach:.2g} kHz (its 95 % interval)"
    if abs(gap) <= reach:
        return Check("floor", True, f"{detail}; {doubt}", abs(found.moved_mhz))
    cure = f"scan further {'up' if second.parameters['separation_mhz'].n > 0 else 'down'} until the light has fallen"
    return Check("floor", False, f"{detail}; {doubt}; {cure}", abs(gap))


def _peaks_check(found: Further, branches: Branches | None) -> Check:
    most = f"limit {BRANCH_LIMIT:g}"
    if found.second is None or not found.second.believed:
        return Check("one peak", True, f"a second passband would not raise twice the log likelihood beyond its {most}")
    raised = f"together they raise twice the log likelihood by {found.second.gained:.3g}, {most}"
    if branches is None:
        up = found.second.parameters["separation_mhz"].n > 0
        detail = f"the flank of a second passband {'above' if up else 'below'} the scan lies under this one; {raised}"
        return Check("one peak", False, f"{detail}; scan further {'up' if up else 'down'}, two widths beyond its peak")
    cure = (
        "likely both polarisations of the light, or else a second line of the laser: put a polariser before the "
        f"crystal, or turn the polarisation by {branches.turn_deg:.2g} degrees (a half-wave plate by half of that)"
    ).replace("+/-", " +- ")
    at_stake = abs(branches.separation_mhz.n) * branches.share.n
    return Check("one peak", False, f"two peaks: {branches}; {raised}; {cure}", at_stake)


def _ranges_check(found: Further) -> Check:
    ranges = found.solution.table.ranges
    count = 0 if ranges is None else int(ranges.max()) + 1
    detail = f"the digits show {count} ranges of the power meter, which differ at the same light"
    return Check("meter ranges", False, f"{detail}, 1 allowed; hold one range, or log it in a column range")
