"""See a sequence before it is played: dwells, order and kick in, staircase, good light and what leaks out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from aotf_lab.drawing.panel_picture import AnewPicture
from aotf_lab.planning.park.reach import reach_of
from aotf_lab.planning.sequence import PARK, Sequence
from aotf_lab.session import Session
from aotf_lab.session.timing import Order
from aotf_lab.widgets.controls import number, switch, tick
from aotf_lab.widgets.panel import Panel

__all__ = ["SequencePanel", "SequenceState", "sequence_state"]

_LONGEST_US = 1e5
_ORDERS: dict[str, Order] = {"least stray light": "best", "soonest": "soonest", "as listed": "given"}
_DWELL_US = 60.0


@dataclass(frozen=True)
class SequenceState:
    """A sequence as it would be played; made by ``sequence_state``."""

    played: Sequence

    @property
    def title(self) -> str:
        """The cycle in a line."""
        return f"{self.played.title}, light good for {100 * self.played.duty:.1f} % of it"

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit)."""
        return self.played.rows()

    @property
    def remarks(self) -> tuple[str, ...]:
        """What stands against the sequence."""
        return tuple(str(c) for c in self.played.checks if not c.passed)

    @property
    def picture_words(self) -> str:
        """The picture in a sentence."""
        steps = ", ".join(
            f"{t.name} good from {t.good_from_us:.0f} to {t.good_to_us:.0f} us" for t in self.played.turns
        )
        return (
            f"Above, the staircase of volts over a cycle; below, the light of each line in a lane of its own: {steps}."
        )


def sequence_state(
    session: Session, dwell_us: Mapping[str, float], *, order: Order = "best", equal_light: bool = False,
    kick_us: float = 0.0, good_share: float = 0.95, like: Sequence | None = None,
) -> SequenceState:  # fmt: skip
    """Return the sequence of all steps whose ``dwell_us`` is above 0, in the order of that mapping or a better one.

    ``kick_us`` 0 means none, ``like`` is an earlier answer on the same bench. Raises as ``Session.sequence_of``.
    """
    steps = [(name, dwell) for name, dwell in dwell_us.items() if dwell > 0]
    return SequenceState(session.sequence_of(
        steps, order=order, equal_light=equal_light, kick_us=kick_us or None, good_share=good_share, like=like
    ))  # fmt: skip


class SequencePanel(Panel[SequenceState]):
    """Give each line its dwell (0 leaves it out); the staircase and the light of each line follow."""

    heading = "Sequence preview"

    def __init__(self, session: Session) -> None:
        """Open on the first [[play]] with dwells in session.toml, else on two lines that can be set."""
        self.session = session
        low, high = session.vco.range_mhz
        names = [n for n in session.passbands.lines if low <= session.passbands.peak_mhz(n).n <= high]
        plays = [p for p in session.facts.plays if p.dwell_us is not None]
        limits = session.facts.limits
        reach = reach_of(session.curves, limits.oscillator, limits.generator, None)
        settable = [n for n in names if reach.low_mhz <= session.passbands.peak_mhz(n).n <= reach.high_mhz]
        first = dict.fromkeys(settable[:2], _DWELL_US)
        if plays and plays[0].dwell_us is not None:
            first = dict(zip(plays[0].lines, plays[0].dwell_us, strict=True))
        self.dwell_us = {
            n: number(
                "park, dwell" if n == PARK else f"line {n}, dwell", first.get(n, 0.0), 0.0, _LONGEST_US, 10.0, "us"
            )
            for n in (*names, PARK)
        }
        self.order = switch("Order", list(_ORDERS))
        self.equal_light = tick("same light of each line", bool(plays and plays[0].equal_light))
        self.kick_us = number("Kick beyond the aim", 0.0, 0.0, 10.0, 0.1, "us")
        self.good_percent = number("Good is light above", 95.0, 51.0, 99.9, 1.0, "%")
        boxes = list(self.dwell_us.values())
        rows = [boxes[k : k + 2] for k in range(0, len(boxes), 2)]
        super().__init__([*rows, [self.order, self.equal_light], [self.kick_us, self.good_percent]])
        self._like: Sequence | None = None
        self._picture = AnewPicture(7.4, 4.8, left=0.13, bottom=0.11)
        self.watch(*boxes, self.order, self.equal_light, self.kick_us, self.good_percent)
        self.refresh()

    def state(self) -> SequenceState:
        """Return the sequence as it would be played."""
        dwells = {n: box.value for n, box in self.dwell_us.items()}
        state = sequence_state(
            self.session, dwells, order=_ORDERS[self.order.value], equal_light=self.equal_light.value,
            kick_us=self.kick_us.value, good_share=0.01 * self.good_percent.value, like=self._like,
        )  # fmt: skip
        self._like = state.played
        return state

    def draw(self, state: SequenceState | None) -> bytes | None:
        """Return the picture."""
        return None if state is None else self._picture.drawn(state.played.plot)
