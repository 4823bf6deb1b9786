"""How fast the light follows: the result of an edge."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from uncertainties import UFloat

from aotf_lab.estimation import Fit
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.physics.edges import HALF_DEPTH_PER_TRANSIT, rise_behind_pole
from aotf_lab.timing.edge.model import FittedSteps
from aotf_lab.timing.edge.overshoot import Overshoot
from aotf_lab.timing.edge.trace import Trace
from aotf_lab.timing.numbers import Number, nominal

__all__ = ["Edge"]


@dataclass(frozen=True)
class Edge:
    """Light that is switched, made by ``fit_edge``; all times in us.

    ``rise_us`` and ``fall_us`` are the beam's own, 10 to 90 %, without the poles in ``poles_us`` (name -> time
    constant); None where the trace shows no such edge. ``transit_us`` is D/v, beam diameter (1/e^2) over velocity.
    ``delay_us`` is from half of the drive's step to half of the light's, again without the poles' lag: the sound's
    way from transducer to beam. ``overshoot`` is that after a rise ("rise") and below the dark after a fall ("fall").
    ``velocity_m_s`` follows from a stated diameter, ``diameter_mm`` from a stated velocity; None without one.
    """

    rise_us: UFloat | None
    fall_us: UFloat | None
    transit_us: UFloat
    delay_us: UFloat | None
    overshoot: Mapping[str, Overshoot]
    velocity_m_s: UFloat | None
    diameter_mm: UFloat | None
    poles_us: Mapping[str, Number]
    fit: Fit = field(repr=False)
    light: FittedSteps = field(repr=False)
    trace: Trace = field(repr=False)

    @property
    def half_depth_khz(self) -> UFloat:
        """Frequency at which this beam halves the depth of modulation, by the Gaussian law: 0.7496 v/D."""
        return 1e3 * HALF_DEPTH_PER_TRANSIT / self.transit_us

    @property
    def shown_rise_us(self) -> float:
        """What the trace itself takes from 10 to 90 %, poles included."""
        own = self.rise_us if self.rise_us is not None else self.fall_us
        assert own is not None
        return rise_behind_pole(own.n, tuple(nominal(p) for p in self.poles_us.values()))

    def plot(self, ax: Any = None) -> Any:
        """Draw drive and light with the fit; return the Axes."""
        from aotf_lab.drawing.timing import plot_edge

        t, p = self.trace, self.fit.parameters
        low, step = p["low_v"].n, p["step_v"].n
        middles = [self.light.centre(k).n + t.start_us for k in range(len(self.light.levels.steps))]
        drive = None if t.drive_v is None else t.drive_v
        return plot_edge(
            t.time_us + t.start_us, (t.light_v - low) / step, drive, self.light.time_us + t.start_us,
            (self.light.expected_v - low) / step, middles, ax=ax,
        )  # fmt: skip

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit), one pair per line of ``str``."""
        found: list[tuple[str, str]] = []
        for name, value in (("rise, 10 to 90 %", self.rise_us), ("fall, 90 to 10 %", self.fall_us)):
            found.append((name, "not in the trace" if value is None else f"{value:.2uS} us"))
        found.append(("beam over velocity, D/v", f"{self.transit_us:.2uS} us"))
        delay = "no drive to count from" if self.delay_us is None else f"{self.delay_us:.2uS} us"
        found += [("delay from drive to light", delay), ("half depth expected at", f"{self.half_depth_khz:.2uS} kHz")]
        found += [(f"overshoot after the {way}", str(o)) for way, o in self.overshoot.items()]
        if self.velocity_m_s is not None:
            found.append(("velocity by the stated beam", f"{self.velocity_m_s:.2uS} m/s"))
        if self.diameter_mm is not None:
            found.append(("beam by the stated velocity", f"{self.diameter_mm:.2uS} mm"))
        poles = ", ".join(f"{n} {nominal(p):.3g} us" for n, p in self.poles_us.items())
        taken = f"{poles} (shown: {self.shown_rise_us:.3g} us)" if poles else "none: the times are those of the trace"
        found += [("time constants taken off", taken), ("chi2/dof", f"{self.fit.chi2:.1f}/{self.fit.dof:.3g}")]
        return tuple(found)

    def _title(self) -> str:
        return f"Edge: {len(self.trace.time_us)} samples, {len(self.light.levels.steps)} edges of the light"

    def __str__(self) -> str:
        return rows_text(self._title(), self.rows(), self.fit.failed)

    def _repr_html_(self) -> str:
        return rows_html(self._title(), self.rows(), self.fit.failed)
