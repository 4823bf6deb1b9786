"""What measures lengths, angles and fast light: ruler, the analyser's rotator, the knife edge's stage, a photodiode."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from uncertainties import UFloat

from aotf_lab.estimation.causes import new_cause
from aotf_lab.reading.instrument_fields import Instrument, or_default, said, stated

__all__ = ["Detector", "Rotator", "Ruler", "Stage"]


@dataclass(frozen=True)
class Ruler(Instrument):
    """Ruler on the screen: scatter of one reading (mm), and u (mm) of the distance from crystal to screen."""

    u_reading_mm: float | None = stated(above=0)
    u_distance_mm: float | None = stated(at_least=0)

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was assumed, in words."""
        return said(
            (self.u_reading_mm, "ruler scatter not stated: 0.5 mm assumed in each reading, and in its zero"),
            (self.u_distance_mm, "u of the distance to the screen not stated: 5 mm assumed"),
        )

    @property
    def u_spot_mm(self) -> float:
        """Random standard uncertainty of one reading of the ruler (mm)."""
        return or_default(self.u_reading_mm, 0.5)

    @property
    def causes(self) -> dict[str, float]:
        """Name -> size (mm) of the errors that all readings share: the mark of the undiffracted spot, the distance."""
        return {
            "mark of the undiffracted spot": self.u_spot_mm,
            "distance to the screen": or_default(self.u_distance_mm, 5.0),
        }


@dataclass(frozen=True)
class Rotator(Instrument):
    """Rotator of the analyser: scatter of one reading (deg), and u (deg) of its zero against the bench."""

    u_reading_deg: float | None = stated(above=0)
    u_zero_deg: float | None = stated(at_least=0)

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was assumed, in words."""
        return said(
            (self.u_reading_deg, "rotator scatter not stated: 0.5 deg assumed in each reading"),
            (self.u_zero_deg, "zero of the rotator not stated: 1 deg assumed"),
        )

    @property
    def u_analyser_deg(self) -> float:
        """Random standard uncertainty of one reading of the rotator (deg)."""
        return or_default(self.u_reading_deg, 0.5)

    @property
    def causes(self) -> dict[str, float]:
        """Name -> size (deg) of the error that all readings share."""
        return {"zero of the rotator": or_default(self.u_zero_deg, 1.0)}


@dataclass(frozen=True)
class Stage(Instrument):
    """Stage of the knife edge: scatter of one reading (um), and error of its scale (percent)."""

    u_reading_um: float | None = stated(above=0)
    scale_percent: float | None = stated(at_least=0)

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was assumed, in words."""
        return said(
            (self.u_reading_um, "stage scatter not stated: 10 um assumed in each reading"),
            (self.scale_percent, "scale of the stage not stated: 0.3 % assumed"),
        )

    @property
    def u_position_mm(self) -> float:
        """Random standard uncertainty of one reading of the stage (mm)."""
        return 1e-3 * or_default(self.u_reading_um, 10.0)

    @property
    def causes(self) -> dict[str, float]:
        """Name -> relative size of the error that all readings share."""
        return {"scale of the stage": 1e-2 * or_default(self.scale_percent, 0.3)}


@dataclass(frozen=True)
class Detector(Instrument):
    """Photodiode of fast light: its own rise, 10 to 90 % (us), and u of that."""

    rise_us: float | None = stated(above=0)
    u_rise_us: float | None = stated(at_least=0)

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was assumed, in words."""
        return said((self.rise_us, "rise of the photodiode not stated: none is taken off the edges of the light"))

    @cached_property
    def known_rise_us(self) -> UFloat | float | None:
        """The rise with its uncertainty, one cause; 10 % where none is stated (common practice, no source)."""
        if self.rise_us is None:
            return None
        u = 0.1 * self.rise_us if self.u_rise_us is None else self.u_rise_us
        return new_cause("photodiode's rise", u, self.rise_us) if u > 0 else self.rise_us
