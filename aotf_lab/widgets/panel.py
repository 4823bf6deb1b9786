"""What every panel is made of: controls, a picture, a table of numbers, and a place where each error is said.

A panel computes nothing itself: ``state`` asks a pure function for what the controls mean, ``draw`` puts it into a
picture. Both are run by ``refresh``, which is the only way to the screen, so that no error gets lost on it.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from html import escape
from typing import Any, Generic, Protocol, TypeVar

import ipywidgets as w

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.widgets.controls import Number
from aotf_lab.widgets.look import LOOK, PANEL, PICTURE, SAID, WORDS

__all__ = ["Panel", "Shown"]


class Shown(Protocol):
    """What a panel shows: a title, numbers with their names, remarks, and the picture in a sentence."""

    @property
    def title(self) -> str:
        """What the numbers are of."""

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit)."""

    @property
    def remarks(self) -> tuple[str, ...]:
        """What is to be said beside the numbers."""

    @property
    def picture_words(self) -> str:
        """What the picture shows, for somebody who does not see it."""


S = TypeVar("S", bound=Shown)


class Panel(ABC, Generic[S]):
    """Controls, a picture and a table that follow each other; shows itself at the end of a notebook cell.

    ``now`` is the state that is shown, None after an error; ``trouble`` the error that is said in its place, as one
    of the package's own; ``problems`` holds every other exception, each of which is raised again.
    """

    heading: str

    def __init__(self, rows: Sequence[Sequence[w.Widget]]) -> None:
        """Lay the controls out in ``rows``, above picture and table."""
        self.now: S | None = None
        self.trouble: AotfLabError | None = None
        self.problems: list[Exception] = []
        self._holding = False
        self._watched: list[w.Widget] = []
        self.said, self.numbers, self.caption = w.HTML(), w.HTML(), w.HTML()
        self.numbers.layout = w.Layout(flex="1 1 380px", min_width="min(300px, 100%)")
        for words in (self.said, self.numbers, self.caption):
            words.add_class(WORDS)
        self.said.add_class(SAID)
        self.image = w.Image(format="png", layout=w.Layout(max_width="100%"))
        scrolled = w.Box([self.image])
        scrolled.add_class(PICTURE)
        wrap = w.Layout(flex_flow="row wrap", align_items="center")
        controls = [w.HBox(list(row), layout=wrap) for row in rows]
        picture = w.VBox([scrolled, self.caption], layout=w.Layout(max_width="min(760px, 100%)"))
        below = w.HBox([picture, self.numbers], layout=w.Layout(flex_flow="row wrap", align_items="flex-start"))
        self.box = w.VBox([w.HTML(f"<h3>{escape(self.heading)}</h3>{LOOK}"), *controls, self.said, below])
        self.box.add_class(PANEL)

    @abstractmethod
    def state(self) -> S:
        """Return what the controls mean now."""

    @abstractmethod
    def draw(self, state: S | None) -> bytes | None:
        """Return the picture of ``state`` as PNG, of nothing but the still parts for None; None leaves it away."""

    def watch(self, *controls: w.Widget, first: Callable[[], None] | None = None) -> None:
        """Refresh whenever one of ``controls`` changes; ``first`` then sets other controls."""

        def changed(change: Any) -> None:
            if not self._holding:
                self.refresh(first, change["owner"])

        self._watched.extend(controls)
        for control in controls:
            control.observe(changed, names="value")

    def on_press(self, button: w.Button, work: Callable[[], None]) -> None:
        """Do ``work`` and refresh when ``button`` is pressed; a refusal is said, and all stays shown as it was."""

        def pressed(_: Any) -> None:
            refused: list[AotfLabError] = []

            def tried() -> None:
                try:
                    work()
                except AotfLabError as error:
                    refused.append(error)

            self.refresh(tried)
            if refused and self.trouble is None:
                self.refuse(refused[0])

        button.on_click(pressed)

    def refuse(self, error: AotfLabError) -> None:
        """Say that something was not done, and why; what is shown stays."""
        self.trouble = error
        self.said.value = _alert("Not done", str(error))

    @contextmanager
    def held(self) -> Iterator[None]:
        """Let controls be set within, without a refresh for each."""
        before, self._holding = self._holding, True
        try:
            yield
        finally:
            self._holding = before

    def refresh(self, first: Callable[[], None] | None = None, changed: w.Widget | None = None) -> None:
        """Show what the controls mean now, or say in words why that cannot be done; ``first`` follows ``changed``."""
        try:
            _require_within([changed])
            if first is not None:
                with self.held():
                    first()
            _require_within(self._watched)
            state = self.state()
            png = self.draw(state)
        except AotfLabError as error:
            self.trouble = error
            self._show_nothing(str(error))
        except Exception as error:
            self.problems.append(error)
            self._show_nothing(f"{type(error).__name__}: {error} (a fault of this program: please report it)")
            raise
        else:
            self.trouble = None
            self._show(state, png)

    def _show(self, state: S, png: bytes | None) -> None:
        self.now = state
        self.said.value = ""
        self.numbers.value = rows_html(state.title, state.rows(), state.remarks)
        self.caption.value = f"<p><small>{escape(state.picture_words)}</small></p>"
        self.image.layout.display = "none" if png is None else None
        if png is not None:
            self.image.value = png

    def _show_nothing(self, why: str) -> None:
        """Say ``why``, and take every number away that was true of other settings."""
        self.now = None
        self.said.value = _alert("Not shown", why)
        self.numbers.value = self.caption.value = ""
        try:
            png = self.draw(None)
        except Exception as error:
            self.problems.append(error)
            png = None
        self.image.layout.display = "none" if png is None else None
        self.image.value = png or b""

    def __str__(self) -> str:
        if self.now is None:
            return f"{self.heading}\n  {self.trouble or 'nothing to show'}"
        return rows_text(self.now.title, self.now.rows(), self.now.remarks)

    def _repr_mimebundle_(self, **options: Any) -> Any:
        return self.box._repr_mimebundle_(**options)


def _require_within(controls: Iterable[w.Widget | None]) -> None:
    for control in controls:
        if isinstance(control, Number) and not control.disabled:
            control.require_within()


def _alert(head: str, words: str) -> str:
    return f'<p role="alert"><strong>{head}:</strong> {escape(words)}</p>'
