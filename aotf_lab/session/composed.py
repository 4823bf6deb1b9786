"""What a session composes of its parts: curves side by side, what stands against them, one drive, a place to park."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from aotf_lab.crystal.identity.checks import exchange_check
from aotf_lab.estimation import Check
from aotf_lab.planning import Curves, SetPoints, set_points
from aotf_lab.planning.doubts import doubts, drive_check, label_checks
from aotf_lab.planning.one_drive import one_drive
from aotf_lab.planning.one_drive_result import OneDrive
from aotf_lab.planning.park import Park, park_frequency
from aotf_lab.session.light import SessionLight

__all__ = ["SessionCurves"]


@dataclass(frozen=True)
class SessionCurves(SessionLight):
    """The calibrations composed; each part raises when it cannot be computed."""

    @cached_property
    def checks(self) -> tuple[Check, ...]:
        """The checks of the session as a whole: labels exchanged, or far from what was found; drive against rating."""
        efficiency, rated = self.part("efficiency"), self.facts.crystal.rated_rf_power_w
        drive = [] if efficiency is None or rated is None else [drive_check(efficiency.own, rated)]
        exchange = self.exchanged
        if exchange is None:
            return (*label_checks(self.facts.lines, self.found_nm), *drive)
        labels = label_checks(self.facts.lines, self.found_nm, exchange.peaks)
        return (*(c for c in [exchange_check(exchange)] if c is not None), *labels, *drive)

    @cached_property
    def curves(self) -> Curves:
        """All curves that could be computed; what is missing stands in ``troubles``."""
        vco, tuning, efficiency = self.part("vco"), self.part("tuning"), self.part("efficiency")
        measured, rated = bool(self.files("level")), self.facts.crystal.rated_rf_power_w
        return Curves(
            vco,
            tuning,
            efficiency,
            self.part("scans") or {},
            rated,
            doubts(
                self.facts.lines,
                self.found_nm,
                tuning,
                self._troubles.get("tuning"),
                self.checks,
                () if self.exchanged is None else self.exchanged.peaks,
            ),
            {part: str(error) for part, error in self._troubles.items()},
            level=self.part("level") if measured else None,
            safe=self.part("safe_supply") if measured and rated is not None else None,
            modulators=self.part("modulators") or {},
        )

    @cached_property
    def one_drive(self) -> OneDrive:
        """The one supply of the amplifier that serves the weakest line best."""
        return one_drive(self)

    @cached_property
    def park(self) -> Park:
        """Where to leave the oscillator when no line is wanted."""
        return park_frequency(
            self, self.passbands, harmonics=self.driver_harmonics, oscillator=self.facts.limits.oscillator,
            generator=self.facts.limits.generator,
        )  # fmt: skip

    def set_points(self) -> SetPoints:
        """Return the set-points of all lines of the session."""
        return set_points(self)
