"""The readings that could be made next, ranked, with what each would do, and the advice in words."""

from __future__ import annotations

from dataclasses import dataclass, field
from html import escape
from typing import Any

import numpy as np
import pandas as pd

from aotf_lab.estimation.wrapped import text_lines
from aotf_lab.planning.next_reading.calibrations import cure_for
from aotf_lab.planning.next_reading.look import CALIBRATION, Candidate
from aotf_lab.planning.next_reading.wanted import Wanted

__all__ = ["Choice", "Floor", "NextReadings"]

_HELPS = 0.10
"""A kind of reading that cannot lessen u by this share, however often it is repeated, is said not to help."""

_WORTH = 0.02
_KHZ = 1e3


@dataclass(frozen=True)
class Choice:
    """A candidate and what it would do: ``u_before`` and ``u_after`` of every wanted quantity, in its unit.

    ``gain`` is the share (0 to 1) by which it lessens the root of the weighed sum of variances, ``helps`` the name of
    the quantity that gains most.
    """

    candidate: Candidate
    u_before: dict[str, float]
    u_after: dict[str, float]
    gain: float
    helps: str

    @property
    def gain_per_reading(self) -> float:
        """``gain`` over the cost in readings."""
        return self.gain / self.candidate.cost


@dataclass(frozen=True)
class Floor:
    """What is left of ``u_before`` however many readings of ``kind`` are made, of the quantity ``of``; and by what."""

    kind: str
    of: str
    u_before: float
    u_left: float
    cause: str

    @property
    def no_use(self) -> bool:
        """Whether no number of such readings lessens u by a tenth."""
        return self.u_left > (1 - _HELPS) * self.u_before


@dataclass(frozen=True)
class NextReadings:
    """What to measure next, made by ``next_readings``: readings by gain per reading, calibrations by gain.

    ``floors`` say for each kind of reading what is left after any number of it; the last one, of kind "any reading",
    what is left after all kinds together.
    """

    wanted: tuple[Wanted, ...]
    readings: tuple[Choice, ...] = field(repr=False)
    calibrations: tuple[Choice, ...] = field(repr=False)
    floors: tuple[Floor, ...]

    @property
    def best(self) -> Choice | None:
        """The reading that gains most per reading made, None where there is no candidate."""
        return self.readings[0] if self.readings else None

    @property
    def most(self) -> Choice | None:
        """The reading that gains most, whatever its cost."""
        return max(self.readings, key=lambda c: c.gain, default=None)

    def of_kind(self, kind: str) -> tuple[Choice, ...]:
        """Return the choices of one kind, the best first."""
        return tuple(c for c in (*self.readings, *self.calibrations) if c.candidate.kind == kind)

    def advice(self) -> list[str]:
        """Return three sentences at the most: the best reading, a dearer one that gains more, what only else helps."""
        best, most, told = self.best, self.most, []
        floor = self.floors[-1] if self.floors else None
        useless = floor is None or floor.no_use
        if best is not None and not useless and best.gain > 0:
            told.append(f"Next, {best.candidate.words}: {self._change(best)}.")
            dearer = most if most is not None and most.candidate.kind != best.candidate.kind else None
            if dearer is not None and dearer.gain > best.gain + _WORTH:
                words, cost = _upper(dearer.candidate.words), dearer.candidate.cost
                told.append(f"{words}, and {self._change(dearer)} for {cost} readings.")
        return [*told, *self._last_word(floor)][:3]

    def _last_word(self, floor: Floor | None) -> list[str]:
        top = self.calibrations[0] if self.calibrations else None
        better = top is not None and top.gain > max(_WORTH, 0.5 * self.best.gain if self.best else 0.0)
        if floor is None:
            return [f"{_upper(top.candidate.words)}: {self._change(top)}."] if top is not None and better else []
        if floor.no_use:
            cure = f"; {top.candidate.words}: {self._change(top)}" if top is not None and top.gain > _WORTH else ""
            cure = cure or (f"; {cure_for(floor.cause)}" if cure_for(floor.cause) else "")
            return [f"No further reading helps the {floor.of}: {floor.cause} is left in all of them{cure}."]
        return [f"{_upper(top.candidate.words)}: {self._change(top)}."] if top is not None and better else []

    def _change(self, choice: Choice) -> str:
        wanted = next(w for w in self.wanted if w.name == choice.helps)
        before, after = choice.u_before[wanted.name], choice.u_after[wanted.name]
        factor, unit = (_KHZ, "kHz") if wanted.unit == "MHz" else (1.0, wanted.unit)
        text = f"u of the {wanted.name} from {factor * before:.3g} to {factor * after:.3g} {unit}"
        lost = [wanted.light_lost_percent(u) for u in (before, after)]
        if lost[0] is None or lost[1] is None:
            return text
        return f"{text} (light lost up to {lost[0]:.2g} %, then {lost[1]:.2g} %)"

    @property
    def table(self) -> pd.DataFrame:
        """One row a choice, the best first: what to do, its kind and cost, the quantity that gains most and its u."""
        rows = []
        for c in (*self.readings, *self.calibrations):
            wanted = next(w for w in self.wanted if w.name == c.helps)
            before, after = c.u_before[c.helps], c.u_after[c.helps]
            row: dict[str, Any] = {"do": c.candidate.words, "kind": c.candidate.kind, "cost": c.candidate.cost}
            row |= {"helps": c.helps, "unit": wanted.unit, "u_before": before, "u_after": after}
            lost = (wanted.light_lost_percent(before), wanted.light_lost_percent(after))
            names = ("light_lost_before_percent", "light_lost_after_percent")
            row |= {n: np.nan if v is None else v for n, v in zip(names, lost, strict=True)}
            fwhm = wanted.fwhm_mhz
            row["share_of_fwhm_after"] = np.nan if fwhm is None else after / fwhm
            rows.append(row | {"gain": c.gain, "gain_per_reading": c.gain_per_reading})
        return pd.DataFrame(rows)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (what to do, what that does) of the best of each kind."""
        return tuple((c.candidate.words, self._change(c)) for c in self._best_of_each())

    def plot(self, ax: Any = None) -> Any:
        """Draw what the best choice of each kind leaves of the weighed u, beside the floor; return the Axes."""
        from aotf_lab.drawing.next_reading import plot_next_readings

        shown = self._best_of_each()
        floor = self.floors[-1].u_left / self.floors[-1].u_before if len(self.wanted) == 1 and self.floors else None
        calibration = [c.candidate.kind == CALIBRATION for c in shown]
        return plot_next_readings(
            [c.candidate.words for c in shown], [1 - c.gain for c in shown], calibration, floor, ax
        )

    def _best_of_each(self) -> list[Choice]:
        kinds = dict.fromkeys(c.candidate.kind for c in (*self.readings, *self.calibrations))
        return [c for k in kinds for c in self.of_kind(k)[: 3 if k == CALIBRATION else 1]]

    def __str__(self) -> str:
        lines = [f"{name}: {value}" for name, value in self.rows()]
        lines += [
            f"after any number of {f.kind}s: {f.u_left:.2g} of {f.u_before:.2g} left of the {f.of}, by {f.cause}"
            for f in self.floors
        ]
        return text_lines([*self.advice(), *lines])

    def _repr_html_(self) -> str:
        body = "".join(f"<tr><th>{escape(n)}</th><td>{escape(v)}</td></tr>" for n, v in self.rows())
        return f"<p>{escape(' '.join(self.advice()))}</p><table>{body}</table>"


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]
