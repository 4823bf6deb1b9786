"""The report's first sentences: what can be set, how far the supply may go, and what stands against trusting it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from aotf_lab.planning import SetPoints
from aotf_lab.report.checks import PartCheck
from aotf_lab.report.content_time import LOST_PERCENT, share_allowed, since, wait_of
from aotf_lab.report.driver_parts import Driver
from aotf_lab.report.preflight_rows import rounded_down
from aotf_lab.report.words import count, joined, light
from aotf_lab.session import Session
from aotf_lab.session.rerun.failed import failed_in_words
from aotf_lab.session.rerun.row import ResultCheck

__all__ = ["settable", "trouble_names", "trouble_texts", "verdict"]


def verdict(
    session: Session, driver: Driver, points: SetPoints, checks: list[PartCheck], failed: Sequence[ResultCheck]
) -> list[str]:
    """Return the verdict: what can be set, how well, and what stands against trusting it.

    ``failed`` are all checks of the session that failed, those that ``checks`` tell together or not at all too.
    """
    reached = [p for p in points if p.reachable]
    sentences = [f"{settable(session, points)}.", *_few_readings(session)]
    losses = [(p.light_lost_percent, p) for p in reached if p.light_lost_percent is not None]
    if losses:
        worst, point = max(losses, key=lambda pair: pair[0])
        sentences.append(f"The least certain, {point.line}, loses {light(worst)} of its light at the most (95 %).")
    sentences += [supply_sentence(driver), *_wait(session, driver)]
    doubtful = [p.line for p in points if p.doubtful]
    if doubtful:
        sentences.append(f"Do not use {joined(doubtful)} before the failed checks below are cleared up.")
    unpowered = [p.line for p in points if p.rf_power_w is None]
    if unpowered:
        sentences.append(f"No RF power is given for {joined(unpowered)}; the remarks say why.")
    if session.troubles:
        sentences.append(f"Not computed: {joined(trouble_names(session))}; the reason stands below.")
    return [*sentences, *_checked(session, driver, (checks, failed), bool(reached))]


def settable(session: Session, points: SetPoints) -> str:
    """Return how many lines can be set, and where there is none, whether session.toml names any."""
    if points:
        return f"{sum(p.reachable for p in points)} of {count(len(points), 'line')} can be set"
    return "No line can be set" + ("" if session.facts.lines else ": session.toml names none")


def _few_readings(session: Session) -> Iterator[str]:
    """Yield what a session with too few readings of the oscillator for a curve is good for."""
    if "vco" in session.troubles and any(f.purpose == "oscillator" for f in session.facts.files):
        yield (
            "A few readings of the oscillator make no curve of their own; held against a kept one they tell whether it "
            "still holds: aotf-lab opening."
        )


def trouble_texts(session: Session) -> list[tuple[str, str]]:
    """Return name and error of each part that could not be computed; an error told once is not told again in others."""
    texts = [str(error) for error in session.troubles.values()]
    shown = []
    for text in texts:
        for other in texts:
            if other != text:
                text = text.replace(f"found {other}", "found the error told above")
        shown.append(text)
    return list(zip(trouble_names(session), shown, strict=True))


def supply_sentence(driver: Driver) -> str:
    """Return the highest safe supply with what it keeps, or why there is none."""
    safe = driver.safe
    if safe is None:
        return f"No supply of the amplifier is called safe: {driver.withheld}."
    (low, high), volts = safe.band_mhz, rounded_down(safe.supply_v)
    reason = "" if safe.held_by == "the limit" else f" ({safe.held_by})"
    trusted = ", if pad and probe are as stated: nothing stated of the amplifier bears them out"
    trusted = trusted if driver.trusts_pad else ""
    return (
        f"Supply of the amplifier: {volts} V at the most{reason}. Up to there the RF power stays below the crystal's "
        f"{safe.limit_w:g} W at every frequency from {low:.4g} to {high:.4g} MHz ({100 * safe.confidence:g} %)"
        f"{trusted}."
    )


def _wait(session: Session, driver: Driver) -> Iterator[str]:
    """Yield how long to wait after power-on."""
    if driver.warm_up is None:
        return
    minutes = wait_of(session, driver.warm_up)
    if isinstance(minutes, str):
        yield f"How long to wait after power-on is not known: {minutes}."
        return
    yield (
        f"Wait {minutes} min {since(driver.warm_up)}: the warm-up left then costs less than {LOST_PERCENT:g} % of the "
        f"light (it moves the frequency by less than {share_allowed():.3f} of the narrowest passband, 95 %)."
    )


def _checked(
    session: Session, driver: Driver, judged: tuple[list[PartCheck], Sequence[ResultCheck]], reached: bool
) -> Iterator[str]:
    checks, failed = judged
    if failed:
        words = failed_in_words(check.title for check in failed)
        told = any(not c.passed for c in checks)
        yield f"{words}{'; read them before you rely on a number' if told else ', in what this page does not use'}."
    elif not session.troubles and reached:
        yield "Every check passed."
    if driver.unused:
        bad, of = len(driver.unused), len(driver.unused) + len(driver.good)
        yield f"{bad} of {count(of, 'trace')} {'is' if bad == 1 else 'are'} not used; the reason stands below."


_PART_NAMES = {
    "vco": "oscillator curve",
    "tuning": "tuning curve",
    "level": "RF power against the supply",
    "safe_supply": "highest safe supply",
    "warm_up": "warm-up",
    "cut": "cut of the crystal",
    "identity": "which peak is which line",
    "beam_size": "beam size",
    "one_drive": "one drive for all lines",
    "park": "park frequency",
    "modulation_depth": "depth of modulation",
    "sweep": "highest rate of a sweep",
    "levels": "what to type into the generator",
    "advice": "what to measure next",
}


def trouble_names(session: Session) -> list[str]:
    """Return the spoken names of the parts that could not be computed."""
    return [_PART_NAMES.get(part, part) for part in session.troubles]
