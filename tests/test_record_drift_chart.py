"""Control charts against the worked examples of the NIST/SEMATECH e-Handbook of Statistical Methods."""

from __future__ import annotations

import numpy as np
import pytest

from aotf_lab.errors import AotfLabError, ReadingsError
from aotf_lab.record.drift import control_chart

FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
"""e-Handbook 6.3.2.2, flow rate of ten batches (from memory)."""

EWMA_DATA = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
    49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
]  # fmt: skip
EWMA = [
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
]  # fmt: skip
"""e-Handbook 6.3.2.4: values and their weighted means with weight 0.3, centre 50, s = 2.0539 (from memory). The sixth
is remembered as 49.12, against which its own rule and the seventh stand: 0.3 x 47.0 + 0.7 x 50.16 = 49.21."""


def days(count: int) -> list[str]:
    return [f"2031-{1 + k // 28:02d}-{1 + k % 28:02d}" for k in range(count)]


def test_individuals_are_those_of_the_handbook():
    chart = control_chart(days(10), FLOW)
    assert chart.centre == pytest.approx(50.81, abs=5e-3)
    assert chart.moving_range.mean() == pytest.approx(1.8778, abs=5e-5)
    assert chart.upper == pytest.approx(np.full(10, 55.8041), abs=2e-3)  # printed with d2 rounded to 1.128
    assert chart.lower == pytest.approx(np.full(10, 45.8159), abs=2e-3)
    assert chart.steady


def test_constants_are_those_of_the_tables():
    """d2 = 1.128 and D4 = 3.267 for ranges of two, as in any table of control chart constants (from memory)."""
    chart = control_chart(days(3), [0.0, 1.0, 0.0])
    assert 3.0 / (chart.upper[0] - chart.centre) == pytest.approx(1.128, abs=5e-4)
    assert chart.range_limit == pytest.approx([3.267, 3.267], abs=5e-4)


def test_weighted_mean_is_that_of_the_handbook():
    chart = control_chart(days(20), EWMA_DATA, kind="ewma", centre=50.0, sigma=2.0539, weight=0.3)
    assert chart.plotted == pytest.approx(EWMA, abs=0.006)
    assert chart.upper[-1] == pytest.approx(52.5884, abs=5e-3)
    assert chart.lower[-1] == pytest.approx(47.4115, abs=5e-3)
    assert chart.beyond == ()
    assert chart.upper[0] - 50.0 == pytest.approx(3 * 0.3 * 2.0539)  # one value alone


def test_jump_and_slow_change_are_named_by_date():
    rng = np.random.default_rng(5)
    quiet = rng.normal(0.0, 1.0, 30)
    jump = np.concatenate([quiet[:29], [8.0]])
    chart = control_chart(days(30), jump, baseline=25)
    assert str(chart.beyond[-1]) == days(30)[-1]
    assert str(chart.jumps[-1]) == days(30)[-1]
    slow = quiet + np.where(np.arange(30) >= 20, 1.6, 0.0)
    assert not control_chart(days(30), slow, baseline=20).beyond
    assert control_chart(days(30), slow, baseline=20, kind="ewma").beyond


def test_order_of_time_does_not_depend_on_that_of_the_rows():
    chart = control_chart(days(10)[::-1], FLOW[::-1])
    assert chart.moving_range.mean() == pytest.approx(1.8778, abs=5e-5)


def test_unsure_value_has_wider_limits_of_its_own():
    u = np.zeros(10)
    u[3] = 5.0
    plain, chart = control_chart(days(10), FLOW), control_chart(days(10), FLOW, u=u)
    assert chart.upper[3] == pytest.approx(chart.centre + 15.0)
    assert np.delete(chart.upper, 3) == pytest.approx(np.delete(plain.upper, 3))
    assert chart.range_limit[5] == pytest.approx(plain.range_limit[5])
    assert chart.range_limit[2] > plain.range_limit[2]


def test_says_what_it_shows():
    chart = control_chart(days(10), [*FLOW[:9], 90.0], baseline=9, name="line D", unit="kHz")
    text = str(chart)
    assert "Control chart of line D: 10 records, individuals and moving range" in text
    assert f"outside the limits             {days(10)[-1]}" in text
    assert "limits from 9 records are rough" in text
    assert "limits from 9 records are rough" in chart._repr_html_()
    assert "rough" not in str(control_chart(days(20), EWMA_DATA))


def test_refuses_what_is_no_chart():
    with pytest.raises(ReadingsError, match="do not pair up; found 3 dates, 2 values, 2 u"):
        control_chart(days(3), [1.0, 2.0])
    with pytest.raises(ReadingsError, match="too few records for a chart; found 1"):
        control_chart(days(1), [1.0])
    with pytest.raises(ReadingsError, match="value 2 of the chart; found nan"):
        control_chart(days(3), [1.0, np.nan, 2.0])
    with pytest.raises(ReadingsError, match="u of a value 1 of the chart; found -1"):
        control_chart(days(3), [1.0, 1.0, 2.0], u=[-1.0, 0.0, 0.0])
    with pytest.raises(ReadingsError, match="date of record 1; found '3 May'"):
        control_chart(["3 May", "2031-05-04"], [1.0, 2.0])
    with pytest.raises(AotfLabError, match=r"weight of the newest value; found 0;"):
        control_chart(days(3), [1.0, 1.0, 2.0], kind="ewma", weight=0.0)
    with pytest.raises(AotfLabError, match="records of the baseline; found 4; allowed: 2 to 3"):
        control_chart(days(3), [1.0, 1.0, 2.0], baseline=4)
    with pytest.raises(AotfLabError, match="scatter of the chart; found -1"):
        control_chart(days(3), [1.0, 1.0, 2.0], sigma=-1.0)
