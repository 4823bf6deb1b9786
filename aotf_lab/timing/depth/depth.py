"""How deep light is modulated, against frequency: the result."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import optimize
from uncertainties import UFloat

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation import Fit
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.physics.edges import RISE_PER_DEVIATION, beam_depth, depth_frequency_khz, pole_depth
from aotf_lab.timing.numbers import Number, nominal, through

__all__ = ["ModulationDepth"]

FloatArray = NDArray[np.float64]


def _where(depth: float, transit: float, port: float | None) -> float:
    """Return the frequency (kHz) at which beam and pole together leave ``depth``."""
    top = float(depth_frequency_khz(depth, transit))
    if port is None:
        return top
    return float(
        optimize.brentq(
            lambda f: float(beam_depth(f, transit) * pole_depth(f, port)) - depth, 0.0, top, xtol=1e-10 * top
        )
    )


@dataclass(frozen=True)
class ModulationDepth:
    """Depth of modulation against frequency, made by ``fit_modulation_depth``.

    ``depth_at_rest`` is that at low frequency, ``transit_us`` D/v of the beam, ``port_khz`` the bandwidth of the pole
    beside it (None: there is none). "Half depth" is where half of the depth at rest is left: the light's swing is 3 dB
    down. "-3 dB" is where 1/sqrt 2 is left: a detector's volts are 3 dB down. Both for beam and pole together, as
    measured; ``beam_half_khz`` for the beam alone (0.7496 v/D).
    """

    depth_at_rest: UFloat
    transit_us: UFloat
    port_khz: Number | None
    fit: Fit = field(repr=False)
    modulation_khz: FloatArray = field(repr=False)
    depth: FloatArray = field(repr=False)
    u_depth: FloatArray | None = field(repr=False)

    def frequency_khz(self, share: float) -> UFloat:
        """Return the frequency (kHz) at which ``share`` (0 to 1) of the depth at rest is left, by the fitted law.

        Raises ``AotfLabError`` for a share outside 0 to 1.
        """
        if not 0 < share < 1:
            raise AotfLabError("share of the depth at rest", found=share, allowed="between 0 and 1", cure="ask for 0.5")
        if self.port_khz is None:
            return through(lambda t: _where(share, t, None), self.transit_us)
        return through(lambda t, b: _where(share, t, b), self.transit_us, self.port_khz)

    @property
    def half_khz(self) -> UFloat:
        """Frequency of half depth, beam and pole together."""
        return self.frequency_khz(0.5)

    @property
    def f_3db_khz(self) -> UFloat:
        """Frequency at which a detector's volts are 3 dB down, beam and pole together."""
        return self.frequency_khz(0.5**0.5)

    @property
    def beam_half_khz(self) -> UFloat:
        """Frequency of half depth of the beam alone: 0.7496 v/D."""
        return through(lambda t: _where(0.5, t, None), self.transit_us)

    @property
    def rise_us(self) -> UFloat:
        """The 10 to 90 % time of an edge of the same beam: 0.6408 D/v."""
        return RISE_PER_DEVIATION / 4.0 * self.transit_us

    def plot(self, ax: Any = None) -> Any:
        """Draw depth against frequency with the law; return the Axes."""
        from aotf_lab.drawing.timing import plot_depth

        f = np.geomspace(self.modulation_khz.min(), max(self.modulation_khz.max(), 1.05 * self.half_khz.n), 200)
        rest, beam = self.depth_at_rest.n, beam_depth(f, self.transit_us.n)
        curves = {"beam alone": (f, rest * beam)}
        if self.port_khz is not None:
            pole = pole_depth(f, nominal(self.port_khz))
            curves = {"beam and pole": (f, rest * beam * pole), **curves, "pole alone": (f, rest * pole)}
        marks = {"-3 dB": (self.f_3db_khz.n, rest * 0.5**0.5), "half": (self.half_khz.n, 0.5 * rest)}
        u = np.zeros_like(self.depth) if self.u_depth is None else self.u_depth
        return plot_depth(self.modulation_khz, self.depth, u, curves, marks, ax=ax)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit), one pair per line of ``str``."""
        port = "none" if self.port_khz is None else f"{self.port_khz:.3g} kHz"
        if isinstance(self.port_khz, UFloat):
            port = f"{self.port_khz:.2uS} kHz"
        return (
            ("depth at rest", f"{self.depth_at_rest:.2uS}"),
            ("half depth at", f"{self.half_khz:.2uS} kHz"),
            ("-3 dB at a detector", f"{self.f_3db_khz:.2uS} kHz"),
            ("half depth, beam alone", f"{self.beam_half_khz:.2uS} kHz"),
            ("beam over velocity, D/v", f"{self.transit_us:.2uS} us"),
            ("pole beside the beam", port),
            ("edge of the same beam", f"{self.rise_us:.2uS} us, 10 to 90 %"),
            ("chi2/dof", f"{self.fit.chi2:.1f}/{self.fit.dof:.3g}"),
        )

    def _title(self) -> str:
        return f"Modulation depth: {len(self.depth)} readings"

    def __str__(self) -> str:
        return rows_text(self._title(), self.rows(), self.fit.failed)

    def _repr_html_(self) -> str:
        return rows_html(self._title(), self.rows(), self.fit.failed)
