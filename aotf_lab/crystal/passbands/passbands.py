"""All lines of a crystal: what it does to the light of each at any frequency and RF power."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from html import escape
from typing import Any

from uncertainties import UFloat, nominal_value

from aotf_lab.crystal.efficiency.lines import EfficiencyLines
from aotf_lab.crystal.passbands.drive import line_drive
from aotf_lab.crystal.passbands.passband import Passband
from aotf_lab.crystal.passbands.width import Shape, WidthLaw, half_height_span, shape_of
from aotf_lab.crystal.scan.passband import Scan
from aotf_lab.crystal.tuning.curve import Tuning
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.estimation import new_cause
from aotf_lab.estimation.problem import FloatArray

__all__ = ["Passbands", "passbands"]

_U_STATED_WIDTH, _U_LEAN = 0.10, 0.10


@dataclass(frozen=True)
class Passbands:
    """The passbands of several lines, made by ``passbands``.

    ``of`` has a ``Passband`` for each line; ``missing`` says of each line that has none why. RF powers are true watts
    at the frequency asked for; the amplifier's own change over the band is not part of the crystal.
    """

    of: Mapping[str, Passband]
    missing: Mapping[str, str] = field(default_factory=dict)

    @property
    def lines(self) -> tuple[str, ...]:
        """The lines' names."""
        return tuple(self.of)

    @property
    def remarks(self) -> tuple[str, ...]:
        """What does not come from a line's own readings, and which lines are missing."""
        return tuple(
            dict.fromkeys(r for p in self.of.values() for r in p.remarks)
        ) + tuple(f"{name} is left out: {why}" for name, why in self.missing.items())  # fmt: skip

    def line(self, line: str) -> Passband:
        """Return the passband of ``line``; raises ``AotfLabError`` where there is none."""
        if line not in self.of:
            raise AotfLabError(
                "no passband of this line", found=line, allowed=", ".join(self.of) or "none",
                cure=self.missing.get(line, "name one of these, or scan the line"),
            )  # fmt: skip
        return self.of[line]

    def peak_mhz(self, line: str) -> UFloat:
        """Return the frequency (MHz) of the peak."""
        return self.line(line).peak_mhz

    def fwhm_mhz(self, line: str) -> UFloat:
        """Return the full width at half of the peak (MHz) in weak drive."""
        return self.line(line).fwhm_mhz

    def saturation_power_w(self, line: str) -> UFloat:
        """Return the power of full diffraction (true W); raises ``FitError`` where it is not known."""
        return self.line(line).drive[0]

    def peak_efficiency(self, line: str) -> UFloat:
        """Return the efficiency at the peak at full drive; raises ``FitError`` where it is not known."""
        return self.line(line).drive[1]

    def nominal(self, line: str, frequency_mhz: Any, rf_power_w: Any) -> FloatArray:
        """Return the efficiency (0 to 1) without uncertainty; frequency (MHz) and RF power (W) broadcast."""
        return self.line(line).nominal(frequency_mhz, rf_power_w)

    def upper(self, line: str, frequency_mhz: Any, rf_power_w: Any) -> FloatArray:
        """Return the most light possible, no null counted on; frequency (MHz) and RF power (W) broadcast."""
        return self.line(line).upper(frequency_mhz, rf_power_w)

    def efficiency(self, line: str, frequency_mhz: Any, rf_power_w: Any) -> Any:
        """Return the efficiency with its uncertainty: a ``ufloat``, or an object array (n,); see ``Passband``."""
        return self.line(line).efficiency(frequency_mhz, rf_power_w)

    def rows(self) -> tuple[tuple[str, ...], ...]:
        """Return (line, peak MHz, FWHM MHz, lean, P_sat W, eta_max) in words, one per line."""
        return tuple(
            (n, f"{p.peak_mhz:.2uS}", f"{p.fwhm_mhz:.2uS}", f"{p.skew:.1uS}", _shown(p.saturation_power_w),
             _shown(p.peak_efficiency)) for n, p in self.of.items()
        )  # fmt: skip

    def plot(self, rf_power_w: float, ax: Any = None) -> Any:
        """Draw the light of every line near its peak (dB) at an RF power (W), its bound dotted; return the Axes."""
        import numpy as np

        from aotf_lab.drawing.purity import plot_passbands

        peaks = [p.peak_mhz.n for p in self.of.values()]
        f = np.linspace(min(peaks) - 3.0, max(peaks) + 3.0, 6000)
        curves = {}
        for n, p in self.of.items():
            near = np.abs(f - p.peak_mhz.n) < 3 * p.fwhm_mhz.n
            curves[n] = np.where(near, p.nominal(f, rf_power_w), np.nan), p.upper(f, rf_power_w)
        return plot_passbands(f, curves, ax)

    def __str__(self) -> str:
        rows = (_HEAD, *self.rows())
        widths = [max(len(row[k]) for row in rows) for k in range(len(_HEAD))]
        table = ["  " + "  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip() for row in rows]
        return "\n".join([f"Passbands of {len(self.of)} lines", *table, *(f"  {r}" for r in self.remarks)])

    def _repr_html_(self) -> str:
        head = "".join(f"<th>{escape(cell)}</th>" for cell in _HEAD)
        body = "".join(f"<tr>{''.join(f'<td>{escape(c)}</td>' for c in row)}</tr>" for row in self.rows())
        notes = "".join(f"<li>{escape(r)}</li>" for r in self.remarks)
        caption = f"<caption>Passbands of {len(self.of)} lines</caption>"
        return f"<table>{caption}<tr>{head}</tr>{body}</table>" + (f"<ul>{notes}</ul>" if notes else "")


_HEAD = ("line", "peak (MHz)", "FWHM (MHz)", "lean", "P_sat (W)", "peak efficiency")


def passbands(
    scans: Mapping[str, Scan] | Iterable[Scan] = (),
    efficiency: EfficiencyLines | None = None,
    tuning: Tuning | None = None,
    *,
    wavelengths_nm: Mapping[str, UFloat | float | None] | None = None,
    fwhm_mhz: UFloat | float | None = None,
) -> Passbands:
    """Return the passbands of all lines that have a scan or a wavelength.

    A scanned line has its own peak, width (taken back to weak drive) and lean. A line with only a vacuum wavelength in
    ``wavelengths_nm`` gets its peak from ``tuning`` and its width and lean from a law over the scans, with wider u.
    ``fwhm_mhz`` (weak drive; a plain number is taken to 10 %) stands in where nothing was scanned. Saturation power and
    peak efficiency come from ``efficiency``; without it peaks and widths are still there, and the light is not.

    Raises ``AotfLabError`` when no line is left.
    """
    named = dict(scans) if isinstance(scans, Mapping) else {s.line: s for s in scans}
    wavelengths: dict[str, UFloat | float | None] = dict.fromkeys(named)
    wavelengths |= {} if efficiency is None else efficiency.wavelengths_nm
    wavelengths |= wavelengths_nm or {}
    law = WidthLaw.over(named) if named else None
    if fwhm_mhz is not None and not isinstance(fwhm_mhz, UFloat):
        fwhm_mhz = fwhm_mhz * (1 + new_cause("passband FWHM as stated", _U_STATED_WIDTH))
    made: dict[str, Passband] = {}
    missing: dict[str, str] = {}
    for name, nm in wavelengths.items():
        if name in named:
            peak, shape, remark = named[name].centre_mhz, shape_of(named[name]), ""
        else:
            try:
                peak, shape, remark = _unscanned(name, nm, tuning, law, fwhm_mhz)
            except AotfLabError as error:
                missing[name] = str(error)
                continue
        if nm is None:
            nm = _wavelength_at(tuning, peak)
        drive = line_drive(efficiency, name, nm)
        remarks = tuple(r for r in (remark, drive.remark) if r)
        plain = None if nm is None else float(nominal_value(nm))
        made[name] = Passband(name, plain, peak, shape.rate_per_mhz, shape.skew, drive.saturation_power_w,
                              drive.peak_efficiency, remarks)  # fmt: skip
    if not made:
        raise AotfLabError(
            "no line with a passband", found=Said("; ".join(missing.values()) or "no scan and no wavelength"),
            allowed="a scan, or wavelengths with a tuning curve and one scan or more", cure="scan one line or more",
        )  # fmt: skip
    return Passbands(dict(sorted(made.items(), key=lambda item: -item[1].peak_mhz.n)), missing)


def _unscanned(
    name: str, nm: UFloat | float | None, tuning: Tuning | None, law: WidthLaw | None, fwhm_mhz: UFloat | None
) -> tuple[UFloat, Shape, str]:
    if nm is None or tuning is None:
        lacks = "its wavelength" if nm is None else "a tuning curve"
        raise AotfLabError(f"the peak of line {name} is not known", found=Said(f"neither a scan nor {lacks}"),
                           allowed="one of the two", cure="scan the line")  # fmt: skip
    peak = tuning.frequency(nm)
    if law is not None:
        return peak, law.at(peak.n), f"{name} was not scanned: peak by the tuning curve, width by the scanned lines"
    if fwhm_mhz is None:
        raise AotfLabError(f"the width of line {name} is not known", found=Said("no scan of any line"),
                           allowed="one scan or more, or fwhm_mhz", cure="scan one line")  # fmt: skip
    shape = Shape(half_height_span(0.0, 0.0) / fwhm_mhz, new_cause("lean of the passband, unknown", _U_LEAN))
    return peak, shape, f"{name} was not scanned: peak by the tuning curve, width as stated"


def _wavelength_at(tuning: Tuning | None, peak: UFloat) -> UFloat | None:
    if tuning is None or not tuning.range_mhz[0] <= peak.n <= tuning.range_mhz[1]:
        return None
    found: UFloat = tuning.wavelength(peak)
    return found


def _shown(value: UFloat | None) -> str:
    return "not known" if value is None else f"{value:.2uS}"
