"""The report's figures as they print: letters large enough, nothing cut off, no legend over data, true words."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib import pyplot
from matplotlib.text import Text

from aotf_lab.drawing import figures as drawing
from aotf_lab.drawing import legend_above, legend_in_words, new_figure, plot_residuals
from aotf_lab.report import figures, figures_driver
from aotf_lab.report.driver_parts import driver_of
from aotf_lab.report.figures import PAGE, PAIR, QUARTER, WIDTHS_IN, in_rows, report_figures
from aotf_lab.report.figures_driver import driver_figures
from aotf_lab.report.figures_light import light_figures
from aotf_lab.report.figures_pace import pace_figures
from aotf_lab.report.light_parts import light_of
from aotf_lab.report.pace_parts import pace_of

SMALLEST_PT = 7.5
PRINTED_MM = {PAGE: 190.0, PAIR: (190.0 - 3.0) / 2, QUARTER: (190.0 - 3 * 2.0) / 4}
"""A4 less the margins of the template, and its gaps between figures."""


@pytest.fixture(scope="module")
def made(demo):
    """Return every figure of the demo's report beside the matplotlib figure that it was made from."""
    drawn = []

    def kept(figure, salt):
        drawn.append(figure)
        return drawing.figure_to_svg(figure, salt)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(figures, "figure_to_svg", kept)
        patch.setattr(figures_driver, "figure_to_svg", kept)
        driver = driver_of(demo, demo.safe_supply, "")
        told = [
            *report_figures(demo), *light_figures(light_of(demo, driver)), *pace_figures(pace_of(demo, True)),
            *driver_figures(demo, driver),
        ]  # fmt: skip
    return list(zip(told, drawn, strict=True))


def test_letters_print_at_7_5_points_or_more(made):
    for told, figure in made:
        scale = PRINTED_MM[told.width] / 25.4 / figure.get_figwidth()
        sizes = [t.get_fontsize() * scale for t in figure.findobj(Text) if t.get_text() and t.get_visible()]
        assert min(sizes) >= SMALLEST_PT, told.caption


def test_widths_are_those_of_the_page():
    assert all(WIDTHS_IN[kind] == pytest.approx(mm / 25.4, rel=0.02) for kind, mm in PRINTED_MM.items())


def test_nothing_is_cut_off_at_an_edge(made):
    for told, figure in made:
        box = figure.get_tightbbox()
        width, height = figure.get_size_inches()
        assert min(box.x0, box.y0, width - box.x1, height - box.y1) > -0.02, told.caption


def test_a_label_is_not_cut_where_other_ticks_fit_the_final_axes():
    """Ticks of 0.5 become ticks of 0.25, and broader, as the axes grow to their final height."""
    for top in np.linspace(0.9, 3.0, 43):
        figure, (ax,) = new_figure(height_in=1.75, width_in=1.81)
        ax.plot([0, 1], [0, top])
        ax.set_ylabel("y")
        drawing.figure_to_svg(figure, "x")
        assert figure.get_tightbbox().x0 > -0.01


def test_no_legend_of_a_small_figure_lies_over_its_data(made):
    for told, figure in made:
        for ax in figure.axes if told.width != PAGE else ():
            legend = ax.get_legend()
            if legend is not None:
                assert legend.get_window_extent().y0 >= ax.get_window_extent().y1 - 0.5, told.caption


def test_seven_scans_share_one_key_and_stand_together(made):
    rows = in_rows(told for told, _ in made)
    ((width, key, some),) = [row for row in rows if row[1]]
    assert (width, len(some)) == (QUARTER, 7)
    assert "open triangles: readings, down" in key
    assert "dotted line: fit, down" in key
    assert all(figure.axes[0].get_legend() is None for told, figure in made if told.key)


def test_legend_keeps_its_title_and_takes_two_columns_only_where_they_fit():
    _, (ax,) = new_figure()
    ax.plot([0, 1], label="a")
    ax.plot([0, 1], label="b")
    ax.set_title("Line E", loc="left")
    legend_above(ax)
    legend = legend_above(ax).get_legend()
    assert legend.get_title().get_text() == "Line E"
    assert ax.get_title(loc="left") == ""
    assert legend._ncols == 2
    ax.plot([0, 1], label="words " * 20)
    assert legend_above(ax).get_legend()._ncols == 1


def test_legend_in_words_tells_marks_from_lines():
    _, (ax,) = new_figure()
    ax.plot([0], [0], "v", markerfacecolor="white", label="down")
    ax.plot([0], [0], "-.", label="fit")
    ax.legend()
    assert legend_in_words(ax) == "open triangles: down; line of dots and dashes: fit"
    assert ax.get_legend() is None


def test_a_title_given_later_stands_above_the_legend():
    ax = drawing.axes_or_new(None)
    ax.plot([0, 1], label="readings")
    legend = legend_above(legend_above(ax)).get_legend()
    ax.set_title("line E")
    ax.figure.canvas.draw()
    assert ax.title.get_window_extent().y0 >= legend.get_window_extent().y1
    assert len(ax.child_axes) == 1
    pyplot.close(ax.figure)


def test_legend_names_what_an_axis_to_the_right_shows():
    _, (ax,) = new_figure()
    ax.plot([0, 1], label="crosstalk")
    ax.twinx().plot([0, 1], label="efficiency")
    assert [t.get_text() for t in legend_above(ax).get_legend().get_texts()] == ["crosstalk", "efficiency"]


@pytest.mark.parametrize("scale", [1e-9, 1e-6, 1.0, 1e3, 1e9])
def test_ticks_show_whole_numbers_with_nothing_in_a_corner(scale):
    figure, (ax,) = new_figure()
    ax.plot([66.42 * scale, 66.4201 * scale], [2.0 * scale, 5.0 * scale])
    drawing.name_axes(ax, "x", "y")
    figure.canvas.draw()
    for axis in (ax.xaxis, ax.yaxis):
        assert axis.get_offset_text().get_text() == ""
        shown = [float(t.get_text().replace("\u2212", "-")) for t in axis.get_ticklabels()]
        assert shown == pytest.approx(axis.get_majorticklocs(), rel=1e-4)


@pytest.mark.parametrize(("low", "high"), [(0.7, 5.2), (1.1, 1.9), (3.0, 900.0)])
def test_a_log_axis_has_two_plain_numbers_or_more(low, high):
    figure, (ax,) = new_figure()
    ax.plot([low, high], [low, high])
    drawing.log_ticks(ax)
    figure.canvas.draw()
    inside = [
        t.get_text()
        for t in (*ax.yaxis.get_ticklabels(), *ax.yaxis.get_ticklabels(minor=True))
        if ax.get_ylim()[0] <= t.get_position()[1] <= ax.get_ylim()[1]
    ]
    assert len(inside) >= 2
    assert all(float(text) > 0 for text in inside if text)


def test_names_of_points_stay_within_the_frame():
    figure, (ax,) = new_figure()
    x = np.array([450.0, 550.0, 671.0])
    ax.plot(x, x[::-1], "o")
    drawing.name_points(ax, ["A", "a long name", "another long name"], x, x[::-1])
    figure.canvas.draw()
    frame = ax.get_window_extent()
    for text in ax.texts:
        box = text.get_window_extent()
        assert frame.x0 <= box.x0
        assert box.x1 <= frame.x1
        assert frame.y0 <= box.y0
        assert box.y1 <= frame.y1


@pytest.mark.parametrize(("guide_mhz", "lines"), [(0.05, 2), (2.5, 0)])
def test_guide_lines_far_out_are_told_instead(guide_mhz, lines):
    _, (ax,) = new_figure()
    residual = np.array([-0.02, 0.01, 0.015])
    plot_residuals(np.arange(3.0), residual, np.full(3, 0.005), x_column="drive_v", five_percent_mhz=guide_mhz, ax=ax)
    assert sum(line.get_linestyle() == "--" for line in ax.lines) == lines
    assert np.ptp(residual) * 1e3 > 0.2 * np.ptp(ax.get_ylim())
    assert ("2500 kHz" in ax.get_title(loc="right")) == (lines == 0)
