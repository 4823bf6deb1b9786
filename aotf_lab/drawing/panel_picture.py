"""A picture that is drawn again and again: its still parts once, what moves on top of them each time.

Drawing axes, ticks and words anew takes most of the time of a figure; a panel that follows a control keeps them.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.image import imsave
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY

__all__ = ["AnewPicture", "Picture", "line_styles", "place_span"]

Floats = NDArray[np.float64]

_DOTS_PER_INCH = 100
_QUICK = {"compress_level": 1}


class Picture:
    """A figure of ``width_in`` by ``height_in`` inches outside pyplot; ``png`` returns what it shows now.

    Artists given to ``moving`` are drawn on top of the kept still parts; after a change of anything else (limits,
    labels) ``redraw`` must be called.
    """

    def __init__(self, width_in: float = 7.4, height_in: float = 4.6) -> None:
        self.figure = Figure(figsize=(width_in, height_in), dpi=_DOTS_PER_INCH)
        self._canvas: Any = FigureCanvasAgg(self.figure)
        self._moving: list[Artist] = []
        self._still: Any = None

    def moving(self, artist: Any) -> Any:
        """Return ``artist``, which from now on moves."""
        artist.set_animated(True)
        self._moving.append(artist)
        return artist

    def moving_line(self, ax: Axes, *style: str, **look: Any) -> Line2D:
        """Return a line without points on ``ax``, to be given its data later."""
        line: Line2D = self.moving(ax.plot([], [], *style, **look)[0])
        return line

    def moving_span(self, ax: Axes, **look: Any) -> Rectangle:
        """Return a vertical band on ``ax``, over its whole height; ``place_span`` puts it somewhere."""
        span: Rectangle = self.moving(ax.axvspan(0.0, 0.0, linewidth=0, **look))
        return span

    def redraw(self) -> None:
        """Draw the still parts anew with the next ``png``."""
        self._still = None

    def png(self, *, still_only: bool = False) -> bytes:
        """Return the picture as PNG; with ``still_only`` without what moves, where there is nothing true to show."""
        if self._still is None:
            self._canvas.draw()
            self._still = self._canvas.copy_from_bbox(self.figure.bbox)
        else:
            self._canvas.restore_region(self._still)
        for artist in () if still_only else self._moving:
            (artist.axes or self.figure).draw_artist(artist)
        buffer = io.BytesIO()
        imsave(buffer, np.asarray(self._canvas.buffer_rgba()), format="png", dpi=_DOTS_PER_INCH, pil_kwargs=_QUICK)
        return buffer.getvalue()


def place_span(span: Rectangle, low: float, high: float) -> None:
    """Put a vertical band between two places on the x axis."""
    span.set_x(low)
    span.set_width(high - low)


def line_styles(names: Sequence[str]) -> list[tuple[str, str]]:
    """Return (style, ink) for each name, told apart without colour by the first six."""
    styles = ("-", "--", "-.")
    return [(styles[k // 2 % 3], (BLUE, GREY)[k % 2]) for k in range(len(names))]


class AnewPicture(Picture):
    """One Axes that is drawn anew each time, for plots of which nothing stands still."""

    def __init__(
        self, width_in: float, height_in: float, *, left: float, bottom: float, right: float = 0.985, top: float = 0.97
    ) -> None:
        super().__init__(width_in, height_in)
        self._ax = self.figure.add_subplot()
        self.figure.subplots_adjust(left=left, right=right, bottom=bottom, top=top)

    def drawn(self, draw: Callable[[Axes], object]) -> bytes:
        """Return the picture that ``draw`` makes on the empty Axes, as PNG."""
        self._ax.clear()
        draw(self._ax)
        self.redraw()
        return self.png()
