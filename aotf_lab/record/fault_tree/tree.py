"""Half the light is gone: today's readings against the stored ones, and what explains the difference."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

from uncertainties import UFloat

from aotf_lab.estimation import Check
from aotf_lab.estimation.checks import chi2_limit, z_limit
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.record.fault_tree.asked import asked, wander_of
from aotf_lab.record.fault_tree.evidence import Evidence, evidence_of
from aotf_lab.record.fault_tree.fitted import Fitted, fitted
from aotf_lab.record.fault_tree.known import NOTHING, causes, readings
from aotf_lab.record.fault_tree.seen import Seen, seen_directly
from aotf_lab.record.fault_tree.telling import Telling, telling_readings

__all__ = ["FaultTree", "half_the_light"]


@dataclass(frozen=True, eq=False)
class FaultTree:
    """Causes of lost light, the likeliest first; made by ``half_the_light``.

    ``ranked`` holds the causes that could be judged, "nothing" among them: it stands first unless a cause explains the
    readings better by more than chance does. ``behind`` key -> by how many standard uncertainties a cause is less
    likely than the first (the root of the difference of -2 ln L). ``rivals`` are those that today's readings do not
    tell from the first. ``seen`` are the conditions that were read (temperatures, supply): every cause is judged at
    what they are today, and where they explain all, the one that costs most light stands first. ``left_out`` key -> the
    stored numbers that a cause lacked.
    """

    ranked: tuple[Fitted, ...]
    behind: Mapping[str, float]
    rivals: tuple[Fitted, ...]
    seen: tuple[Seen, ...]
    left_out: Mapping[str, str]
    evidence: Evidence = field(repr=False)

    @property
    def first(self) -> Fitted:
        """The likeliest cause."""
        return self.ranked[0]

    @property
    def decided(self) -> bool:
        """Whether one cause, and no other, explains today's readings."""
        return not self.rivals and _explained(self.first, self.evidence).passed

    @cached_property
    def telling(self) -> Mapping[str, Telling | None]:
        """For each rival, by its key, the cheapest reading that would tell it from the first."""
        return telling_readings(self.evidence, self.first, self.rivals)

    @property
    def next_reading(self) -> Telling | None:
        """What to read next: it tells the first two apart; None where nothing is open or no reading would do."""
        return self.telling[self.rivals[0].cause.key] if self.rivals else None

    @cached_property
    def checks(self) -> tuple[Check, ...]:
        """Does one cause explain all, and one alone?"""
        return _explained(self.first, self.evidence), _told_apart(self.first, self.rivals, self.telling)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (cause, its size and how it fits), likeliest first."""
        found = []
        for f in self.ranked:
            z = ", ".join(f"{readings()[n].name} {v:+.1f}" for n, v in f.z.items())
            found.append((f.name, f"{self._place(f)}; {f.cause.sized(f.size, f.u_size)}; chi2 {f.chi2:.1f}; z: {z}"))
        return tuple(found)

    def _place(self, f: Fitted) -> str:
        if f is self.first:
            return "first"
        better = f.two_ln < self.first.two_ln
        return "fits better by chance only" if better else f"{self.behind[f.cause.key]:.1f} behind"

    def said(self) -> tuple[str, ...]:
        """Return what follows, what is open, and what to read next."""
        words = [] if self.first.cause is NOTHING else [f"cure: {self.first.cause.cure}"]
        words += [f"seen directly: {s}" for s in self.seen if s.changed]
        words += [str(c) for c in self.checks if not c.passed]
        if "drive_ratio" not in self.evidence.stored:
            words.append("no drive ratio P / P_sat is stored: light is taken to go in proportion to RF power")
        words += [f"{causes()[k].less} was not judged: not stored: {why}" for k, why in self.left_out.items()]
        return tuple(words)

    def _title(self) -> str:
        readings_today = len(self.evidence.names) + len(self.seen)
        return f"Fault tree: {readings_today} readings against {len(self.evidence.stored)} stored numbers"

    def __str__(self) -> str:
        return rows_text(self._title(), self.rows(), self.said())

    def _repr_html_(self) -> str:
        return rows_html(self._title(), self.rows(), self.said())


def half_the_light(
    stored: Mapping[str, UFloat | float],
    today: Mapping[str, UFloat],
    *,
    wander: Mapping[str, float] | None = None,
) -> FaultTree:
    """Rank what can have taken the light, and return the ``FaultTree``.

    ``stored`` and ``today`` are name -> number with its u, by the names of ``readings()``. Light is what the meter
    shows where ``dark_mw`` is stored, else what it shows less the dark reading of the same day. Every reading of today
    needs its stored number (the light at the best frequency, say, that of ``light_mw``). ``stored`` also takes what the
    bench's laws need: ``drive_ratio`` (P / P_sat at the stored drive; or ``saturation_w`` beside ``rf_power_w``),
    ``detuning_mhz`` (stored frequency less peak), ``mhz_per_k`` and ``mhz_per_supply_v`` (oscillator),
    ``relative_per_k`` (crystal), ``db_per_supply_v`` (amplifier), ``aperture_mm`` and ``beam_diameter_mm``, and
    ``range_mw``, the range of the light meter today, and ``lean``, by which the passband leans (0 +- 0.1 where none is
    stored). ``wander`` states the healthy change from day to day of single causes, by their key in ``causes()``.

    One cause at a time is fitted, by one number (its size), all other links at their healthy wander, or, for a
    temperature or a supply that was read, at what was read. Causes are ranked by likelihood; "told apart" means behind
    by more than ``z_limit()``. Raises ``AotfLabError`` for an unknown name, a reading without u or without a stored
    number, a stored number in the place of a reading, and where nothing was read.
    """
    numbers, readings_today = asked(stored, today)
    healthy = wander_of(wander or {})
    seen = seen_directly(readings_today, numbers, healthy)
    conditions = {s.cause.reading for s in seen}
    indirect = {n: v for n, v in readings_today.items() if n not in conditions}
    evidence = evidence_of(indirect, numbers, healthy, {s.cause.branches[0]: s.change for s in seen})
    left_out = {k: m for k, c in causes().items() if (m := c.missing(numbers))}
    hidden = [c for k, c in causes().items() if k not in left_out and c.reading not in conditions]
    nothing, found = fitted(evidence, NOTHING), [fitted(evidence, c) for c in hidden]
    rest = sorted([nothing, *found], key=lambda f: f.two_ln)
    calm = nothing.two_ln - rest[0].two_ln < z_limit(len(found)) ** 2
    first = nothing if calm else rest[0]
    changed = next((s for s in seen if s.changed), None) if calm else None
    if changed is not None:
        first = replace(nothing, cause=changed.cause, size=float(changed.change.n), u_size=float(changed.change.s))
    behind = {f.cause.key: max(f.two_ln - first.two_ln, 0.0) ** 0.5 for f in [first, *rest]}
    rivals = () if calm else tuple(f for f in rest[1:] if behind[f.cause.key] < z_limit())
    return FaultTree((first, *(f for f in rest if f is not first)), behind, rivals, seen, left_out, evidence)


def _explained(first: Fitted, evidence: Evidence) -> Check:
    fits = first.cause.fits and not set(first.cause.branches) & evidence.given.keys()
    dof = len(evidence.names) - fits
    if dof < 1:
        return Check("one cause", True, f"{first.name}: no reading is left to judge whether it explains all")
    limit = chi2_limit(dof)
    detail = f"{first.name}: chi2 = {first.chi2:.1f} on {dof}, limit {limit:.1f}"
    if first.chi2 <= limit:
        return Check("one cause", True, detail)
    worst = readings()[first.worst]
    return Check(
        "one cause", False,
        f"{detail}; no single cause explains today's readings: {worst.name} is {first.z[first.worst]:+.1f} standard "
        "uncertainties off what the likeliest makes of it; cure that one first and read again, two things may be wrong",
    )  # fmt: skip


def _told_apart(first: Fitted, rivals: tuple[Fitted, ...], telling: Mapping[str, Telling | None]) -> Check:
    if not rivals:
        return Check("told apart", True, f"every other cause is at least {z_limit():.1f} standard uncertainties behind")
    near = rivals[0]
    parts = [f"today's readings do not tell '{first.name}' from '{near.name}': {_how(telling[near.cause.key])}"]
    by_reading: dict[str, list[str]] = {}
    for rival in rivals[1:]:
        by_reading.setdefault(_name(telling[rival.cause.key]), []).append(f"'{rival.name}'")
    parts += [f"{reading} from {', '.join(others)}" for reading, others in by_reading.items()]
    return Check("told apart", False, "; ".join(parts))


def _how(telling: Telling | None) -> str:
    if telling is None:
        return "no reading that has a stored number would tell"
    return f"{telling}" + ("" if telling.enough else ", not enough alone")


def _name(telling: Telling | None) -> str:
    if telling is None:
        return "no reading that has a stored number tells it"
    return f"{telling.reading.name} ({telling.reading.minutes:g} min) tells it"
