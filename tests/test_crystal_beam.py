"""Size of a beam from a knife edge: what comes back, what is named, and errors."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from aotf_lab.crystal.beam import fit_beam_size
from aotf_lab.errors import FitError, ReadingsError
from aotf_lab.estimation import CommonError, new_cause, variance_shares
from aotf_lab.physics.beams import beam_diameter
from aotf_lab.reading.readings import Readings
from aotf_lab.simulate.optics import SKERRY_OPTICS, knife_edge_run
from aotf_lab.simulate.truth import SKERRY

THERE = np.arange(8.4, 12.01, 0.15)
BOTH = np.concatenate([THERE, THERE[::-1]])


def moved(seed: int = 1, positions: np.ndarray = BOTH, **changes: float) -> pd.DataFrame:
    """A knife edge moved through the beam of one line of the invented bench."""
    optics = replace(SKERRY_OPTICS, **changes)
    table = knife_edge_run(np.random.default_rng(seed), SKERRY.line("E"), positions, optics=optics)
    return table.assign(u_position_mm=0.004)


def test_the_diameter_comes_back():
    found = fit_beam_size(moved())
    assert abs(found.diameter_mm.n - 1.6) < 3 * found.diameter_mm.s
    assert 0.003 < found.diameter_mm.s < 0.02
    assert abs(found.centre_mm.n - 10.23) < 0.02
    assert found.edge_width_mm.n == pytest.approx(0.6408 * found.diameter_mm.n, rel=1e-4)
    assert found.fit.trusted


def test_an_edge_that_frees_the_beam_gives_the_same():
    table = moved(positions=THERE)
    full = 1.3 + 2 * 0.0023
    freeing = table.assign(optical_power_mw=full - table["optical_power_mw"])
    one, other = fit_beam_size(table), fit_beam_size(freeing)
    assert other.diameter_mm.n == pytest.approx(one.diameter_mm.n, rel=0.01)
    assert other.power_mw.n == pytest.approx(one.power_mw.n, rel=0.01)
    assert abs(other.background_mw.n) < 0.02


def test_the_scale_of_the_stage_is_a_cause():
    scale = new_cause("scale of the stage", 0.01)
    found = fit_beam_size(Readings(moved(), (CommonError("scale", "position_mm", "relative", scale),)))
    assert variance_shares(found.diameter_mm)["scale of the stage"] > 0.5


def test_the_two_ways_show_a_lag_and_its_doubt():
    lag_mm = 0.02
    up, down = moved(positions=THERE), moved(seed=2, positions=THERE[::-1])
    late = moved(positions=np.concatenate([THERE - lag_mm, THERE[::-1] + lag_mm])).assign(position_mm=BOTH)
    assert len(up) + len(down) == len(late)
    found = fit_beam_size(late)
    assert found.shift_mm is not None
    assert abs(found.shift_mm.n - lag_mm) < 3 * found.shift_mm.s
    assert "lag of the meter or backlash of the stage" in variance_shares(found.diameter_mm)
    assert found.fit.trusted


def test_a_long_lag_is_named():
    late = moved(positions=np.concatenate([THERE - 0.15, THERE[::-1] + 0.15])).assign(position_mm=BOTH)
    assert "lag" in [c.name for c in fit_beam_size(late).fit.failed]


def test_one_way_says_what_it_cannot_see():
    found = fit_beam_size(moved(positions=THERE))
    assert found.shift_mm is None
    assert [c.name for c in found.fit.failed] == ["lag"]
    assert "the edge went one way only" in str(found)


def test_a_settled_meter_may_go_one_way():
    assert fit_beam_size(moved(positions=THERE), time_constant_s=0.0).fit.trusted


def test_a_known_lag_is_taken_out_one_way():
    table, kept = moved(positions=THERE), np.exp(-1.0 / 0.4)  # read each second, time constant 0.4 s
    light = table["optical_power_mw"].to_numpy(copy=True)
    for k in range(1, light.size):
        light[k] = kept * light[k - 1] + (1 - kept) * light[k]
    late = table.assign(optical_power_mw=light, time_s=np.arange(light.size, dtype=float))
    calm, wide = fit_beam_size(table), fit_beam_size(late)
    found = fit_beam_size(late, time_constant_s=0.4)
    assert wide.diameter_mm.n - calm.diameter_mm.n > 5e-3
    assert found.diameter_mm.n == pytest.approx(calm.diameter_mm.n, abs=2e-3)
    assert found.centre_mm.n == pytest.approx(calm.centre_mm.n, abs=2e-3)


def test_a_time_constant_below_zero():
    with pytest.raises(ReadingsError, match="time constant of the power meter; found -1"):
        fit_beam_size(moved(positions=THERE), time_constant_s=-1.0)


def test_ways_may_be_stated_or_two_tables():
    up, down = moved(positions=THERE), moved(seed=2, positions=THERE[::-1])
    joined = fit_beam_size([up.assign(direction="up"), down.assign(direction="down")])
    order = fit_beam_size([up, down])
    assert joined.diameter_mm.n == pytest.approx(order.diameter_mm.n, rel=1e-9)


def test_a_beam_that_is_flat_or_clipped_is_named():
    table = moved()
    edge = np.clip((10.9 - table["position_mm"]) / 1.4, 0.0, 1.0)
    flat = table.assign(optical_power_mw=1.3 * edge + 0.0023)
    assert "Gaussian beam" in [c.name for c in fit_beam_size(flat).fit.failed]


def test_an_edge_that_did_not_reach_both_ends_is_named():
    found = fit_beam_size(moved(positions=np.arange(8.6, 10.5, 0.1)))
    assert "both ends" in [c.name for c in found.fit.failed]
    assert found.diameter_mm.s > 0.02


def test_further_on_from_a_waist():
    found = fit_beam_size(moved())
    further = found.diameter_from_waist(2000.0, 589.1)
    assert further.n == pytest.approx(float(beam_diameter(found.diameter_mm.n, 2000.0, 589.1)))
    up = float(beam_diameter(found.diameter_mm.n + found.diameter_mm.s, 2000.0, 589.1))
    assert further.s == pytest.approx(abs(up - further.n), rel=0.05)


def test_a_beam_centred_on_zero():
    table = moved()
    shifted = table.assign(position_mm=table["position_mm"] - 10.2)
    assert fit_beam_size(shifted).diameter_mm.n == pytest.approx(fit_beam_size(table).diameter_mm.n, rel=1e-4)


def test_plot_and_words():
    found = fit_beam_size(moved(), line="E")
    assert found.plot().get_xlabel() == "Position of the edge x (mm)"
    assert "<caption>Beam size of line E: 50 readings at a knife edge</caption>" in found._repr_html_()


def test_light_that_does_not_change():
    rng = np.random.default_rng(1)
    table = moved().assign(optical_power_mw=1.0 + 0.005 * rng.standard_normal(len(BOTH)), u_optical_power_mw=0.005)
    with pytest.raises(FitError, match="the knife-edge readings do not cross the beam: "):
        fit_beam_size(table)


@pytest.mark.parametrize(
    ("positions", "why"),
    [
        (np.arange(10.05, 10.4, 0.05), r"u of its whole light is above 1/3 of it; found 0.\d+ to 0.\d+ mW with"),
        (np.arange(8.0, 9.6, 0.1), r"nothing tells where it is and how wide; found 1.24 to 1.31 mW with"),
        (
            np.arange(11.6, 13.0, 0.1),
            r"nothing tells where it is and how wide; found .* with the edge at 11.6 to 13 mm",
        ),
    ],
)
def test_an_edge_that_did_not_cross_the_beam_is_told_in_plain_words(positions, why):
    with pytest.raises(FitError, match=f"the knife-edge readings do not cross the beam: {why}") as told:
        fit_beam_size(moved(positions=positions))
    assert "e+" not in str(told.value)


def test_all_at_one_position():
    with pytest.raises(ReadingsError, match="readings all at one position of the edge; found 10 mm"):
        fit_beam_size(moved().assign(position_mm=10.0))
