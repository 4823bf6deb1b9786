"""Plots of kept calibrations: what is drawn is what was found."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from aotf_lab.record.drift import Passband, control_chart, drift_of_tables


@pytest.fixture
def ax() -> Axes:
    return Figure().subplots()


@pytest.fixture(scope="module")
def drift():
    rng, count = np.random.default_rng(1), 14
    days = np.round(np.linspace(0, 700, count))
    t = 21 + 3 * np.sin(days / 58.0) + rng.normal(0, 0.7, count)
    dates = [date(2031, 3, 2) + timedelta(days=int(d)) for d in days]
    f = 66 - 0.046 * (t - 22) + 3e-5 * days + rng.normal(0, 0.004, count)
    table = pd.DataFrame({"date": dates, "temperature_c": t, "frequency_mhz": f, "u_frequency_mhz": 0.002})
    return drift_of_tables(oscillator=table, lines={"E": Passband(64.0, 0.3)})


def labels(ax: Axes) -> list[str]:
    return [text.get_text() for text in ax.get_legend().get_texts()]


def test_chart_shows_limits_and_rings_what_is_outside(ax):
    dates = [f"2031-03-{k + 1:02d}" for k in range(12)]
    chart = control_chart(dates, [*np.tile([0.0, 1.0], 5), 0.5, 9.0], baseline=10, name="line D", unit="kHz")
    assert chart.plot(ax) is ax
    assert labels(ax) == ["centre", "limits", "outside", "records"]
    assert ax.get_ylabel() == "Line D (kHz)"
    ring = next(line for line in ax.lines if line.get_label() == "outside")
    assert list(ring.get_ydata()) == [9.0]
    limits = next(line for line in ax.lines if line.get_label() == "limits")
    assert list(limits.get_ydata()) == pytest.approx(list(chart.lower))


def test_weighted_mean_is_drawn_and_nothing_is_ringed(ax):
    dates = [f"2031-03-{k + 1:02d}" for k in range(12)]
    chart = control_chart(dates, np.tile([0.0, 1.0], 6), kind="ewma")
    chart.plot(ax)
    mean = next(line for line in ax.lines if line.get_label() == "weighted mean")
    assert list(mean.get_ydata()) == pytest.approx(list(chart.plotted))
    assert "outside" not in labels(ax)


def test_temperature_has_the_slope_found(ax, drift):
    drift.oscillator.plot(ax)
    line = next(line for line in ax.lines if line.get_label() == "temperature coefficient")
    x, y = line.get_xdata(), line.get_ydata()
    assert (y[-1] - y[0]) / (x[-1] - x[0]) == pytest.approx(1e3 * drift.oscillator.per_k.n, rel=1e-6)
    assert ax.get_xlabel() == "Temperature of the box (°C)"
    assert ax.get_ylabel() == "Shift of the oscillator (kHz)"


def test_records_without_a_coefficient_are_drawn_alone(ax):
    table = pd.DataFrame({"date": ["2031-03-02", "2031-05-01"], "temperature_c": [21.0, 22.0]})
    table["frequency_mhz"], table["u_frequency_mhz"] = [64.0, 64.003], 0.001
    drift_of_tables(crystal=table).crystal.plot(ax)
    assert labels(ax) == ["records, ageing removed"]
    assert ax.get_xlabel() == "Temperature of the crystal (°C)"


def test_due_day_stands_where_the_chance_falls(ax, drift):
    due = drift.due(4.0, corrected=True)
    due.plot(ax)
    assert labels(ax) == ["less than 4 % of light lost", "95 %", f"due {due.date}"]
    curve = ax.lines[0].get_ydata()
    assert list(curve) == pytest.approx(list(due.chance))
    assert drift.due(0.01).date is None
    drift.due(0.01).plot(Figure().subplots())
