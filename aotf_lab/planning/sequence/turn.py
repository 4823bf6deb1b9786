"""One step of a sequence as it comes out: when it is commanded, when its light is good, and what it costs."""

from __future__ import annotations

from dataclasses import dataclass

from uncertainties import UFloat

from aotf_lab.planning.sequence.hop import Hop
from aotf_lab.planning.sequence.place import Place
from aotf_lab.planning.set_point import shown

__all__ = ["Turn"]


@dataclass(frozen=True)
class Turn:
    """One step; times in microseconds from the start of the cycle.

    Volts are commanded at ``command_us`` and held for ``hold_us``; the light is good from ``good_from_us`` to
    ``good_to_us``, which may reach into the next cycle, since sound comes late. ``dead_us`` is from the command to good
    light; the delay is part of it, but shortens no dwell. ``duty`` is the share of the cycle with good light,
    ``mean_rf_w`` the RF power of the step over the whole cycle, ``light`` the line's light while good and ``energy``
    that over one cycle, tails included: mW and nJ, or without incident power the efficiency and us of all the light.
    """

    place: Place
    hop: Hop
    command_us: float
    hold_us: float
    dead_us: UFloat | float
    good_from_us: float
    good_to_us: float
    duty: float
    mean_rf_w: UFloat | float
    light: UFloat | None
    energy: UFloat | None

    @property
    def name(self) -> str:
        """The line, or park or off."""
        return self.place.step.line

    @property
    def dwell_us(self) -> float:
        """For how long the light is good."""
        return self.good_to_us - self.good_from_us

    def words(self, unit: str) -> str:
        """Return this step in words; ``unit`` is that of the energy."""
        volts = f"{shown(self.place.drive_v)} V"
        if not self.place.rf_on:
            volts = f"RF off, {volts} ready"
        when = f"from {self.command_us:.2f} us for {self.hold_us:.2f} us"
        good = f"good for {self.dwell_us:.2f} us from {self.good_from_us:.2f} us ({100 * self.duty:.1f} %)"
        dead = shown(self.dead_us) if isinstance(self.dead_us, UFloat) else f"{self.dead_us:.2f}"
        energy = "" if self.energy is None else f", {shown(self.energy)} {unit}"
        return f"{volts} {when}, {good}{energy}; dead {dead} us; mean RF {shown(self.mean_rf_w)} W"
