"""The controls that panels share: each with its label in full, its unit and its range."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import ipywidgets as w

__all__ = ["button", "choice", "number", "switch", "text", "tick", "whole_number"]

_LABEL = {"description_width": "initial"}
_NARROW_PX, _PX_A_LETTER, _BOX_PX = 340, 7, 110
_NARROW, _WIDE = f"{_NARROW_PX}px", "520px"


def number(label: str, value: float, low: float, high: float, step: float, unit: str) -> w.BoundedFloatText:
    """Return a box for a number between ``low`` and ``high``; the arrow keys go over whole multiples of ``step``.

    The ends are drawn in to such multiples: a browser counts its steps from the lower one.
    """
    low, high = step * math.ceil(low / step - 1e-9), step * math.floor(high / step + 1e-9)
    words = f"{label} ({low:.6g} to {high:.6g} {unit})"
    wide = max(_NARROW_PX, _PX_A_LETTER * len(words) + _BOX_PX)
    return w.BoundedFloatText(value, min=low, max=high, step=step, description=words, style=_LABEL,
                              layout=w.Layout(width=f"{wide}px", max_width="100%"))  # fmt: skip


def whole_number(label: str, value: int, low: int, high: int) -> w.IntSlider:
    """Return a slider for a whole number; the arrow keys move it by one."""
    return w.IntSlider(
        value, min=low, max=high, description=label, style=_LABEL, layout=w.Layout(width=_WIDE, max_width="100%")
    )


def choice(label: str, options: Sequence[Any], value: Any = None) -> w.Dropdown:
    """Return a list to choose one of ``options``, plain or (words, value), from; the first by default."""
    box = w.Dropdown(
        options=list(options), description=label, style=_LABEL, layout=w.Layout(width=_NARROW, max_width="100%")
    )
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
