"""What all panels share: no error gets lost, no old number stays beside a new setting, everything can be read aloud."""

from __future__ import annotations

import io
from dataclasses import dataclass

import matplotlib.image
import numpy as np
import pytest

from aotf_lab.drawing.panel_picture import Picture, place_span
from aotf_lab.errors import AotfLabError
from aotf_lab.widgets.controls import button, choice, number, switch, text, whole_number
from aotf_lab.widgets.panel import Panel


@dataclass(frozen=True)
class Root:
    of: float

    title = "Root <of a number>"
    remarks = ("taken above zero",)
    picture_words = "A dot & its number."

    def rows(self):
        return (("root", f"{self.of**0.5:.3f}"),)


class RootPanel(Panel[Root]):
    heading = "Roots"

    def __init__(self):
        self.value = number("Number", 4.0, -10.0, 10.0, 1.0, "")
        self.double, self.refuse_me = button("Double it"), button("Refuse")
        super().__init__([[self.value, self.double, self.refuse_me]])
        self.refreshed = 0
        self.picture = Picture(2.0, 1.0)
        ax = self.picture.figure.add_subplot()
        ax.set_xlim(-10, 10)
        self.mark = self.picture.moving(ax.axvline(0.0, color="black"))
        self.watch(self.value)
        self.on_press(self.double, self._double)
        self.on_press(self.refuse_me, self._refused)
        self.refresh()

    def _double(self):
        self.value.value = 2 * self.value.value

    def _refused(self):
        raise AotfLabError("no such button", found="it", allowed="another", cure="press another")

    def state(self):
        self.refreshed += 1
        if self.value.value < 0:
            raise AotfLabError("a root of <less than nothing>", found=self.value.value, allowed="0 or more", cure="add")
        return Root(1.0 / 0.0 if self.value.value == 7 else self.value.value)

    def draw(self, state):
        if state is None:
            return self.picture.png(still_only=True)
        self.mark.set_xdata([state.of] * 2)
        return self.picture.png()


def pixels(png: bytes):
    return matplotlib.image.imread(io.BytesIO(png), format="png")


def test_numbers_remarks_and_words_for_the_picture_are_shown():
    panel = RootPanel()
    assert "2.000" in panel.numbers.value
    assert "taken above zero" in panel.numbers.value
    assert "Root &lt;of a number&gt;" in panel.numbers.value
    assert panel.caption.value == "<p><small>A dot &amp; its number.</small></p>"
    assert panel.said.value == ""
    assert str(panel).splitlines() == ["Root <of a number>", "  root  2.000", "  taken above zero"]


def test_a_change_moves_numbers_and_picture():
    panel = RootPanel()
    before = pixels(panel.image.value)
    panel.value.value = 9
    assert "3.000" in panel.numbers.value
    after = pixels(panel.image.value)
    assert before.shape == after.shape == (100, 200, 4)
    assert not np.array_equal(before, after)


def test_an_error_is_said_in_words_and_takes_the_numbers_away():
    panel = RootPanel()
    panel.value.value = -1
    assert panel.now is None
    assert "a root of &lt;less than nothing&gt;; found -1; allowed: 0 or more; add" in panel.said.value
    assert panel.numbers.value == panel.caption.value == ""
    assert str(panel.trouble).startswith("a root of")
    assert panel.problems == []
    panel.value.value = 1
    assert panel.trouble is None
    assert panel.said.value == ""
    assert "1.000" in panel.numbers.value


def test_after_an_error_nothing_that_moves_is_drawn():
    panel = RootPanel()
    panel.value.value = -1
    blank = pixels(panel.image.value)
    panel.value.value = 0
    assert not np.array_equal(pixels(panel.image.value), blank)
    assert np.array_equal(pixels(panel.picture.png(still_only=True)), blank)


def test_any_other_exception_is_named_kept_and_raised_again():
    panel = RootPanel()
    with pytest.raises(ZeroDivisionError, match="division"):
        panel.value.value = 7
    assert [type(p) for p in panel.problems] == [ZeroDivisionError]
    assert "ZeroDivisionError" in panel.said.value
    assert panel.numbers.value == ""


def test_an_exception_behind_a_button_is_kept_although_the_button_swallows_it(caplog):
    panel = RootPanel()
    panel.value.value = 3.5
    panel.double.click()
    assert [type(p) for p in panel.problems] == [ZeroDivisionError]
    assert "ZeroDivisionError" in panel.said.value
    assert "Exception in callback" in caplog.text


def test_a_button_sets_controls_with_one_refresh():
    panel = RootPanel()
    before = panel.refreshed
    panel.double.click()
    assert panel.refreshed == before + 1
    assert panel.now is not None
    assert panel.now.of == 8


def test_what_a_button_may_not_do_is_said_and_the_rest_stays():
    panel = RootPanel()
    shown = panel.numbers.value
    panel.refuse_me.click()
    assert "Not done:" in panel.said.value
    assert panel.numbers.value == shown
    assert panel.now == Root(4.0)
    assert "no such button" in str(panel.trouble)


def test_a_panel_shows_itself_in_a_notebook():
    bundle = RootPanel()._repr_mimebundle_()
    assert "application/vnd.jupyter.widget-view+json" in bundle


@pytest.mark.parametrize(
    "control",
    [number("Drive", 1.0, 0.0, 2.0, 0.1, "V"), choice("Line", ["A", "B"]), switch("By", ["a", "b"]), text("Why"),
     whole_number("Every", 3, 1, 9, "s"), button("Go")],
)  # fmt: skip
def test_every_control_is_a_standard_one_with_a_label(control):
    assert control.description
    assert control._model_module == control._view_module == "@jupyter-widgets/controls"
    assert control.tabbable is not False


def test_a_number_tells_its_range_and_unit():
    box = number("Drive voltage", 1.0, 0.25, 2.04, 0.1, "V")
    assert box.description == "Drive voltage (0.3 to 2 V)"  # whole steps, within what is allowed
    assert (box.low, box.high) == pytest.approx((0.3, 2.0))


@pytest.mark.parametrize("value", [0, 10, -3, 3.5, 3.999, 9.005, float("nan"), float("inf")])
def test_a_whole_number_keeps_what_was_typed_and_refuses_it_in_words(value):
    box = whole_number("Look every", 3, 1, 9, "s")
    box.require_within()
    box.value = value
    assert box.value == value or value != value
    found = f"{value:.6g} s".replace("+", r"\+")
    with pytest.raises(
        AotfLabError,
        match=rf"Look every \(1 to 9 s\); found {found}; allowed: whole, 1 to 9 s; type a whole number between these",
    ):
        box.require_within()
    box.value = 9
    box.require_within()


@pytest.mark.parametrize("value", [12.0, -12.0, float("nan"), float("inf")])
def test_a_number_out_of_range_is_said_not_drawn_in(value):
    panel = RootPanel()
    panel.value.value = value
    assert panel.now is None
    assert "Number (-10 to 10 )" in panel.said.value
    assert "type a number between these" in panel.said.value
    panel.value.value = 9.0
    assert panel.now == Root(9.0)


def test_a_number_that_is_not_in_use_stops_nothing():
    panel = RootPanel()
    panel.value.disabled = True
    with panel.held():
        panel.value.value = 1e3
    panel.refresh()
    assert panel.trouble is None


def test_still_parts_are_drawn_again_only_when_told():
    picture = Picture(2.0, 1.0)
    ax = picture.figure.add_subplot()
    ax.set_xlim(0, 10)
    span = picture.moving_span(ax, color="black")
    first = pixels(picture.png())
    place_span(span, 2.0, 5.0)
    moved = pixels(picture.png())
    assert not np.array_equal(first, moved)
    ax.set_xlim(0, 20)
    picture.redraw()
    assert not np.array_equal(pixels(picture.png()), moved)
    assert np.array_equal(pixels(picture.png()), pixels(picture.png()))
