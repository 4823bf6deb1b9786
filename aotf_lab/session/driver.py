"""What a session says of its driver: oscillator, amplifier, match, and how they behave in time."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from aotf_lab.driver import Vco, fit_vco
from aotf_lab.driver.level import Level, SafeSupply, fit_level, safe_supply
from aotf_lab.driver.match import Match, fit_match
from aotf_lab.driver.stability import Pushing, Stability, WarmUp, fit_pushing, fit_warm_up, stability
from aotf_lab.errors import Said, UnsafeDriveError
from aotf_lab.planning.pad_slip import PadSlip, pad_slip_of
from aotf_lab.planning.safe_drive import CONFIDENCE
from aotf_lab.session.read import SessionReadings

__all__ = ["SessionDriver"]


@dataclass(frozen=True)
class SessionDriver(SessionReadings):
    """The driver's curves; each raises when it cannot be computed."""

    @cached_property
    def vco(self) -> Vco:
        """The oscillator: drive voltage to frequency."""
        return fit_vco(self.readings("oscillator"))

    @cached_property
    def level(self) -> Level:
        """The amplifier: supply voltage and frequency to RF power, from every file of level."""
        files = self.files("level")
        if not files:
            self.readings("level")
        return fit_level([self.read(f) for f in files])

    @cached_property
    def pad_slip(self) -> PadSlip | None:
        """What the amplifier says of pad and probe; None where they are not stated, or nothing can be asked."""
        if not self.facts.instruments.power_scale_stated:
            return None
        levels = {f.path.name for f in self.files("level")}
        return pad_slip_of((r for n, r in self.all_readings.items() if n in levels), self.facts.amplifier)

    @cached_property
    def safe_supply(self) -> SafeSupply:
        """The highest supply of the amplifier that is sure to keep the crystal below its rating.

        Raises ``UnsafeDriveError`` when there is none, no rating is stated, or the amplifier speaks against the pad.
        """
        rated = self.facts.crystal.rated_rf_power_w
        if rated is None:
            raise UnsafeDriveError(
                "no supply can be called safe", where="session.toml", found=Said("no rated RF power"),
                allowed="[crystal] rated_rf_power_w", cure="state it from the crystal's own papers",
            )  # fmt: skip
        slip = self.pad_slip
        if slip is not None and slip.verdict == "likely":
            raise UnsafeDriveError(
                "no supply can be called safe: far less RF power than the amplifier gives", where=slip.place,
                found=Said(f"{slip.power_w:.2g} W: {slip.why}"),
                allowed="what the amplifier can be expected to give",
                cure="look at pad_db, probe and input_ohm of [instrument.scope]",
            )  # fmt: skip
        return safe_supply(
            self.level, rated, CONFIDENCE, crystal_return_loss_db=self.crystal_return_loss_db,
            source_return_loss_db=self.facts.instruments.scope.source_return_loss_db,
        )  # fmt: skip

    @cached_property
    def crystal_return_loss_db(self) -> float | None:
        """The lowest return loss (dB) of the crystal where the level was measured, None where that was not measured."""
        if not self.files("match"):
            return None
        low, high = (max(a, b) if k == 0 else min(a, b) for k, (a, b) in
                     enumerate(zip(self.match.range_mhz, self.level.range_mhz, strict=True)))  # fmt: skip
        return float(np.min(self.match.return_loss_bounds_db(np.linspace(low, high, 1001))[0])) if low < high else None

    @cached_property
    def match(self) -> Match:
        """The reflection at the crystal's connector."""
        readings, file = self.readings("match"), self.files("match")[0]
        return fit_match(readings, directivity_db=file.directivity_db, cable_loss_db=file.cable_loss_db or 0.0)

    @cached_property
    def warm_up(self) -> WarmUp:
        """How the oscillator settles after power-on."""
        return fit_warm_up(self.readings("warm_up"))

    @cached_property
    def stability(self) -> Stability:
        """How steady the oscillator is over seconds to minutes, warm-up taken out."""
        return stability(self.readings("warm_up"), warm_up=self.warm_up)

    @cached_property
    def pushing(self) -> Pushing:
        """How the oscillator's own supply moves its frequency."""
        return fit_pushing(self.readings("pushing"))
