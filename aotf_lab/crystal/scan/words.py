"""A fitted ``Scan`` in words: the lines of its text. Its type stands in the file that asks for them."""

from __future__ import annotations

from typing import Any

from uncertainties import UFloat

from aotf_lab.physics.coupled_waves import light_lost

__all__ = ["scan_rows", "scan_title"]


def scan_rows(scan: Any) -> tuple[tuple[str, str], ...]:
    """Return (name, value with uncertainty and unit), one pair per line."""
    share = scan.centre_mhz.s / scan.fwhm_mhz.n
    lag = f"{_shown(scan.lag_mhz * 1e3)} kHz each way"
    lag += f", time constant {_shown(scan.time_constant_s)} s" if scan.time_constant_s is not None else ""
    rows = [
        ("centre", f"{_shown(scan.centre_mhz)} MHz"),
        ("", f"u is {100 * share:.2g} % of the FWHM and costs {100 * float(light_lost(share)):.1g} % of the light"),
        ("FWHM", f"{_shown(scan.fwhm_mhz)} MHz"),
        ("peak power", f"{_shown(scan.peak_power_mw)} mW above a floor of {_shown(scan.floor_mw)} mW"),
    ]
    if scan.solution.model.sloped:
        rows.append(("floor's slope", f"{_shown(scan.slope_mw_per_mhz)} mW/MHz"))
    if scan.branches is not None:
        rows.append(("two peaks", str(scan.branches)))
    return (
        *rows,
        *_ranges(scan),
        ("drive P/P_sat", _shown(scan.drive_ratio)),
        ("lean", _shown(scan.skew)),
        ("lag", lag),
        ("sidelobes", "; ".join(map(str, scan.sidelobes)) or "not reached"),
        ("chi2/dof", f"{scan.fit.chi2:.1f}/{scan.fit.dof:.3g}"),
    )


def scan_title(scan: Any) -> str:
    """Return the heading of a scan's text."""
    table = scan.solution.table
    ways = "one way" if table.one_way else "up and down"
    log = ", logged in dB" if table.log else ""
    return f"Scan{' of line ' + scan.line if scan.line else ''}: {len(table.row)} readings, {ways}{log}"


def _ranges(scan: Any) -> list[tuple[str, str]]:
    p, model = scan.fit.parameters, scan.solution.model
    others = range(1, 1 if model.ranges is None else int(model.ranges.max()) + 1)
    return [
        (f"meter range {k}", f"gain {_shown(p[f'gain_{k}'])}, offset {_shown(p[f'offset_{k}_mw'])} mW beside range 0")
        for k in others
    ]


def _shown(value: UFloat) -> str:
    return f"{value:.2uS}" if value.s > 0 else f"{value.n:.6g}"
