"""Every check of a session in one list, with what a failure costs in light."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from aotf_lab.estimation import Check
from aotf_lab.planning import Curves, light_lost_percent
from aotf_lab.report.driver_parts import Driver
from aotf_lab.report.light_parts import Light
from aotf_lab.report.pace_parts import Pace, pace_checks
from aotf_lab.report.words import light as light_words
from aotf_lab.session import Session
from aotf_lab.session.rerun.row import ResultCheck

__all__ = ["PartCheck", "gathered_checks", "told_nowhere"]


@dataclass(frozen=True)
class PartCheck:
    """A check, the part of the bench it speaks of, its cost in words, and the light lost ("" when none is known).

    ``of_limit`` is how much of its limit is used up, as the check says.
    """

    part: str
    name: str
    passed: bool
    detail: str
    cost: str
    lost: str = ""
    of_limit: float | None = None

    @property
    def found_and_cure(self) -> tuple[str, str]:
        """What was found, and what to do: the last clause of a detail is the cure."""
        found, _, cure = self.detail.rpartition("; ")
        return (found, cure) if found else (cure, "")


def gathered_checks(session: Session, driver: Driver, light: Light, pace: Pace) -> list[PartCheck]:
    """Return the checks of all curves, in the order of the bench day, then those of the session as a whole.

    Traces that are not used are left out: their checks say why, and nothing rests on them.
    """
    curves = session.curves
    whole = [PartCheck("Session", c.name, c.passed, c.detail, "", of_limit=c.of_limit) for c in session.checks]
    found = (*_all(curves), *_of_light(light), *pace_checks(pace), *_of_driver(driver))
    return [_worded(curves, *each) for each in found] + whole


def told_nowhere(
    failed: Iterable[ResultCheck], checks: Iterable[PartCheck], driver: Driver, pace: Pace
) -> list[ResultCheck]:
    """Return those ``failed`` of the session that are neither told by ``checks``, alone or with those alike, nor of a
    trace that is not used: they are of results that the report does not print.
    """
    told = {c.detail for c in checks if not c.passed}
    told |= {c.detail for played in (*pace.levels.values(), *pace.plays.values()) for c in played.checks}
    told |= {c.detail for wave in driver.unused.values() for c in wave.fit.failed}
    return [c for c in failed if c.detail not in told]


def _all(curves: Curves) -> Iterator[tuple[str, Check, float | None]]:
    """Yield part, check, and the frequency near which the passband counts."""
    if curves.vco is not None:
        yield from (("Oscillator", c, sum(curves.vco.range_mhz) / 2) for c in curves.vco.fit.checks)
    for name, scan in curves.scans.items():
        yield from ((f"Scan of line {name}", c, scan.centre_mhz.n) for c in scan.fit.checks)
    if curves.tuning is not None:
        yield from (("Tuning curve", c, sum(curves.tuning.range_mhz) / 2) for c in curves.tuning.fit.checks)
    for name, cell in curves.modulators.items():
        yield from ((f"Modulator at line {name}", c, cell.carrier_mhz.n) for c in cell.checks)
    if curves.efficiency is not None:
        yield from (("Efficiency", c, None) for c in curves.efficiency.fit.checks)


def _of_light(light: Light) -> Iterator[tuple[str, Check, float | None]]:
    """Yield the checks of the light's parts as ``_all`` does."""
    parts: dict[str, tuple[Check, ...]] = {}
    if light.hunt is not None:
        parts["Hunt"] = light.hunt.fit.checks
    if light.angles is not None:
        parts["Angles"] = light.angles.fit.checks
    parts |= {f"Polarisation of line {name}": part.fit.checks for name, part in light.polarisation.items()}
    parts |= {f"Beam of line {name}": part.fit.checks for name, part in light.beam_size.items()}
    for name, part in (
        ("Identity", light.identity), ("Spectrum", light.spectrum), ("Crosstalk", light.crosstalk),
        ("One drive", light.one_drive), ("Park", light.park),
    ):  # fmt: skip
        if part is not None:
            parts[name] = part.checks
    for name, checks in parts.items():
        yield from ((name, c, None) for c in checks)


def _of_driver(driver: Driver) -> Iterator[tuple[str, Check, float | None]]:
    """Yield the checks of the driver's parts as ``_all`` does."""
    for name, wave in driver.good.items():
        yield from ((f"Trace {name}", c, None) for c in wave.checks)
    if driver.level is not None:
        yield from (("RF power against the supply", c, None) for c in driver.level.fit.checks)
    if driver.match is not None:
        yield from (("Match of the crystal", c, None) for c in driver.match.checks)
    if driver.warm_up is not None:
        yield from (("Warm-up", c, driver.warm_up.final_mhz.n) for c in driver.warm_up.fit.checks)
    if driver.stability is not None:
        yield from (("Stability", c, driver.stability.frequency_mhz) for c in driver.stability.checks)
    if driver.pushing is not None:
        at_mhz = float(driver.pushing.log.frequency_mhz.mean())
        yield from (("Pushing", c, at_mhz) for c in driver.pushing.fit.checks)


def _worded(curves: Curves, part: str, check: Check, frequency_mhz: float | None) -> PartCheck:
    cost = lost = ""
    if not check.passed and check.at_stake_mhz is not None and frequency_mhz is not None:
        fwhm = curves.fwhm_mhz(frequency_mhz)
        if fwhm is not None:
            lost = light_words(light_lost_percent(check.at_stake_mhz, fwhm))
            cost = f"At stake: {_size(check.at_stake_mhz)}, which loses {lost} of the light."
    return PartCheck(part, check.name, check.passed, check.detail, cost, lost, check.of_limit)


def _size(mhz: float) -> str:
    return f"{1e3 * mhz:.0f} kHz" if mhz < 1.0 else f"{mhz:.3g} MHz"
