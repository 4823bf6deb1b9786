"""The controls that panels share: each with its label in full, its unit and its range."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import ipywidgets as w

from aotf_lab.errors import AotfLabError, Said

__all__ = ["Number", "button", "choice", "number", "switch", "text", "tick", "whole_number"]

_LABEL = {"description_width": "initial"}
_NARROW_PX, _PX_A_LETTER, _BOX_PX = 340, 7, 110
_WIDE = "520px"
_ROUNDING = 0.01
"""In steps: what the rounding of a number that a panel sets itself may put beyond an end."""


class Number(w.FloatText):  # type: ignore[misc]  # ipywidgets states no types
    """A box for a number from ``low`` to ``high``; one beyond stays in it, for ``require_within`` to refuse in words.

    The browser would put the nearest end in its place without a word. ``ends`` are those of what is allowed; ``low``
    and ``high`` the outermost multiples of the step between them. ``whole``: it must be a whole number.
    """

    def __init__(
        self, low: float, high: float, ends: tuple[float, float], unit: str, *, whole: bool = False, **look: Any
    ) -> None:
        self.low, self.high, self.ends, self.unit, self.whole = low, high, ends, unit, whole
        super().__init__(**look)

    def require_within(self) -> None:
        """Raise ``AotfLabError`` for a value beyond ``ends`` by more than rounding, for none, and one not ``whole``."""
        rounding = _ROUNDING * self.step
        inside = self.ends[0] - rounding <= self.value <= self.ends[1] + rounding
        if not inside or (self.whole and not self.value.is_integer()):
            kind = "whole number" if self.whole else "number"
            raise AotfLabError(
                self.description, found=Said(f"{self.value:.6g} {self.unit}".strip()),
                allowed=f"{'whole, ' * self.whole}{self.low:.6g} to {self.high:.6g} {self.unit}".strip(),
                cure=f"type a {kind} between these",
            )  # fmt: skip


def number(label: str, value: float, low: float, high: float, step: float, unit: str) -> Number:
    """Return a box for a number between ``low`` and ``high``, multiples of ``step``, by which the arrow keys go."""
    ends = (low, high)
    low, high = step * math.ceil(low / step - 1e-9), step * math.floor(high / step + 1e-9)
    words = f"{label} ({low:.6g} to {high:.6g} {unit})"
    return Number(low, high, ends, unit, value=value, step=step, description=words, style=_LABEL,
                  layout=w.Layout(width=_width(words), max_width="100%"))  # fmt: skip


def _width(words: str, more_px: int = 0) -> str:
    """Return the width of a box with its label in full and what it holds, as CSS."""
    return f"{max(_NARROW_PX, _PX_A_LETTER * len(words) + _BOX_PX + more_px)}px"


def whole_number(label: str, value: int, low: int, high: int, unit: str) -> Number:
    """Return a box for a whole number between ``low`` and ``high``; the arrow keys go by one."""
    words = f"{label} ({low} to {high} {unit})"
    return Number(low, high, (low, high), unit, whole=True, value=value, step=1, description=words, style=_LABEL,
                  layout=w.Layout(width=_width(words), max_width="100%"))  # fmt: skip


def choice(label: str, options: Sequence[Any], value: Any = None) -> w.Dropdown:
    """Return a list to choose one of ``options``, plain or (words, value), from; the first by default."""
    longest = max((len(str(o[0] if isinstance(o, tuple) else o)) for o in options), default=0)
    box = w.Dropdown(
        options=list(options), description=label, style=_LABEL,
        layout=w.Layout(width=_width(label, _PX_A_LETTER * longest), max_width="100%"),
    )  # fmt: skip
    if value is not None:
        box.value = value
    return box


def switch(label: str, options: Sequence[Any]) -> w.ToggleButtons:
    """Return buttons of which one is down, the first to begin with."""
    return w.ToggleButtons(options=list(options), description=label, style={**_LABEL, "button_width": "auto"},
                           layout=w.Layout(display="flex", flex_flow="row wrap", align_items="center"))  # fmt: skip


def tick(label: str, on: bool = False) -> w.ToggleButton:
    """Return a button that stays down while it is on."""
    return w.ToggleButton(on, description=label, layout=w.Layout(width="auto"))


def text(label: str, hint: str = "") -> w.Text:
    """Return a line to type words into, taken when Enter is pressed or the line is left."""
    return w.Text(description=label, placeholder=hint, continuous_update=False, style=_LABEL,
                  layout=w.Layout(width=_WIDE, max_width="100%"))  # fmt: skip


def button(label: str) -> w.Button:
    """Return a button."""
    return w.Button(description=label, layout=w.Layout(width="auto"))
