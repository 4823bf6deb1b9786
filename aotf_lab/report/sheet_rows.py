"""What the bench sheet says of each line and of each thing that failed, in few words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from uncertainties import nominal_value

from aotf_lab.errors import AotfLabError
from aotf_lab.planning import SetPoints
from aotf_lab.planning.generator import SineSweep
from aotf_lab.planning.sequence import Sequence
from aotf_lab.report.checks import PartCheck
from aotf_lab.report.content import without
from aotf_lab.report.content_pace import OUT_OF_REACH
from aotf_lab.report.content_plays import typed_volts
from aotf_lab.report.content_verdict import trouble_names
from aotf_lab.report.findings import Finding
from aotf_lab.report.pace_parts import Pace
from aotf_lab.report.sheet_parts import Failure, SheetLine, SheetPlay
from aotf_lab.report.words import clipped, joined, light, measured
from aotf_lab.session import Session
from aotf_lab.session.timing import Played

__all__ = ["Texts", "failures", "sheet_lines", "sheet_plays"]

_WORDS, _CURE, _STEPS, _NAMED = 150, 190, 190, 3


@dataclass(frozen=True)
class Texts:
    """What the sheet shows of the details: set-points, what to type for each line, SHA-256 of all files together."""

    set_rows: list[tuple[str, ...]]
    typed: list[tuple[str, ...]]
    all_files: str


def sheet_lines(points: SetPoints, texts: Texts) -> list[SheetLine]:
    """Return each line of ``points``, of which ``texts`` has the set-points in the same order."""
    typed = {name: both for name, *both in (row[:3] for row in texts.typed)}
    return [
        SheetLine(
            p.line,
            row[1],
            row[2],
            row[3],
            _typed(typed.get(p.line, []), bool(typed)),
            measured(p.wavelength_nm),
            p.doubtful,
        )
        for p, row in zip(points, texts.set_rows, strict=True)
    ]


def sheet_plays(pace: Pace) -> list[SheetPlay]:
    """Return what the generator is to play."""
    return [_play(name, play) for name, play in pace.plays.items()]


def _play(name: str, play: Played) -> SheetPlay:
    if isinstance(play, Sequence):
        steps = " · ".join(f"{t.name} {t.place.drive_v.n:.4f} V, {t.hold_us:.2f} µs" for t in play.turns)
        worst = max((t for t in play.turns if t.place.line is not None), key=lambda t: float(nominal_value(t.dead_us)))
        dead = f"longest dead time {float(nominal_value(worst.dead_us)):.3g} µs, to {worst.name}"
        words = f"period {play.cycle_us:.2f} µs; good light for {100 * play.duty:.3g} % of it; {dead}"
        return SheetPlay(name, (), clipped(steps, _STEPS), words)
    if isinstance(play, SineSweep):
        return SheetPlay(name, typed_volts(play.typed), "", f"sine, {play.rate_khz:g} kHz; {_lit(play)}")
    order = [w.name for w in sorted(play.wanted, key=lambda w: -w.port_v.n)]
    kind = {1: f"one level, {order[0]}", 2: f"square wave, high {order[0]}, low {order[-1]}"}
    words = kind.get(len(order), f"wave of {len(order)} levels, {', '.join(w.name for w in play.wanted)}, codes below")
    lost = [m for m in play.made if m.light_lost_percent is not None]
    if lost:
        typed, held = (max(getattr(m, f"{k}_lost_percent") for m in lost) for k in ("light", "calibrated"))
        words += f"; loses up to {light(typed)} as typed, {light(held)} set by the voltmeter"
    far = [m.wanted.name for m in play.made if not m.reachable and m.display == "high impedance"]
    words += f"; {joined(far)} {OUT_OF_REACH}" if far else ""
    return SheetPlay(name, typed_volts(play.typed), "", words)


def _lit(play: SineSweep) -> str:
    """Return the shortest time for which a line lights, or which lines never do."""
    dark = [w.name for w in play.wanted if not play.of(w.name)]
    if dark:
        return f"{joined(dark)} never lit"
    least = min(play.windows, key=lambda w: float(nominal_value(w.dwell_us)))
    return f"shortest light {float(nominal_value(least.dwell_us)):.3g} µs, {least.line} {least.way}"


def _typed(both: list[str], any_typed: bool) -> tuple[str, ...]:
    if not any_typed:
        return ()
    return tuple(both) if both and OUT_OF_REACH not in both else (OUT_OF_REACH if both else "–",)


def failures(session: Session, points: SetPoints, checks: list[PartCheck], findings: list[Finding]) -> list[Failure]:
    """Return everything that stands against trusting the sheet, what weighs most first."""
    return [
        *_lines(points, session.troubles.values()),
        *(
            Failure(f"Not computed: {name}", clipped(error.what, _WORDS), "", clipped(error.cure, _CURE))
            for name, error in zip(trouble_names(session), session.troubles.values(), strict=True)
        ),
        *(
            Failure(f"{f.where}, {f.what}", clipped(f.found, _WORDS), "", clipped(f.cure, _CURE))
            for f in findings
            if f.grave
        ),
        *(_check(c) for c in checks if not c.passed),
    ]


def _lines(points: SetPoints, errors: Iterable[AotfLabError]) -> Iterator[Failure]:
    """Yield what speaks against lines, those together of which the same is said."""
    told = [str(error) for error in errors]
    alike: dict[tuple[bool, bool, str, str], list[str]] = {}
    for p in points:
        if p.doubtful or not p.reachable:
            words = without(p.remark, told)
            cure = "" if words == p.remark else "see \u201cNot computed\u201d below"
            alike.setdefault((p.doubtful, p.reachable, words, cure), []).append(p.line)
    for (doubtful, reachable, words, cure), names in alike.items():
        them, lines = ("it", "Line") if len(names) == 1 else ("them", "Lines")
        title = f"{lines} {joined(names)}: {f'do not use {them}' if doubtful else 'no set-point'}"
        yield Failure(title, clipped(words, _WORDS), "" if reachable else "all of it", cure)


def _check(check: PartCheck) -> Failure:
    parts = check.part.split(", ")
    part = check.part if len(parts) <= _NAMED else f"{parts[0]}, {parts[1]} and {len(parts) - 2} more"
    found, cure = check.found_and_cure
    return Failure(f"{part}: {check.name}", clipped(found, _WORDS), check.lost, clipped(cure, _CURE))
