"""The hunt on simulated sweeps: what is found, what it is called, and what is left open."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure
from uncertainties import ufloat

from aotf_lab.crystal.cut import fit_cut
from aotf_lab.crystal.hunt.hunt import Hunt, fit_hunt
from aotf_lab.physics.air import air_to_vacuum
from aotf_lab.reading.readings import Readings
from aotf_lab.simulate.hunt import DEMO_HUNT, HuntPlan, hunt_sweep
from aotf_lab.simulate.light import true_peak_frequency
from aotf_lab.simulate.truth import SKERRY, BenchTruth, LineTruth

COUNTED = 1.0 + SKERRY.instruments.counter_error


def swept(seed: int = 1, truth: BenchTruth = SKERRY, plan: HuntPlan = DEMO_HUNT, light: bool = True) -> pd.DataFrame:
    return hunt_sweep(np.random.default_rng(seed), truth, plan, light=light)


@pytest.fixture(scope="module")
def hunt() -> Hunt:
    return fit_hunt(swept())


@pytest.fixture(scope="module")
def tops() -> dict[str, float]:
    return {line.name: COUNTED * float(true_peak_frequency(line.wavelength_air_nm)) for line in SKERRY.lines}


def test_the_demo_shows_seven_lines_and_two_ghosts(hunt: Hunt, tops: dict[str, float]) -> None:
    assert len(hunt.lines) == 7
    for peak, true in zip(hunt.lines, sorted(tops.values()), strict=True):
        assert abs(peak.frequency_mhz.n - true) < 3 * peak.frequency_mhz.s
    found = [(p.frequency_mhz.n, p.order) for p in hunt.ghosts]
    assert found == [(pytest.approx(tops["B"] / 2, abs=0.02), 2), (pytest.approx(tops["A"] / 2, abs=0.02), 2)]
    partners = [hunt.peaks[p.partner - 1].frequency_mhz.n for p in hunt.ghosts if p.partner]
    assert partners == [pytest.approx(tops["B"], abs=0.05), pytest.approx(tops["A"], abs=0.05)]
    assert not hunt.of_kind("unexplained", "ambiguous", "other polarisation")


def test_centres_share_what_is_not_known_of_the_motion(hunt: Hunt) -> None:
    a, b = hunt.lines[:2]
    assert (a.frequency_mhz - b.frequency_mhz).s < 0.2 * a.frequency_mhz.s


def test_up_and_down_need_no_assumption_on_the_motion(tops: dict[str, float]) -> None:
    both = fit_hunt(swept(2, plan=replace(DEMO_HUNT, both_ways=True)))
    assert len(both.lines) == 7
    for peak, true in zip(both.lines, sorted(tops.values()), strict=True):
        assert peak.frequency_mhz.s < 0.002
        assert abs(peak.frequency_mhz.n - true) < 4 * peak.frequency_mhz.s


def test_first_sidelobes_are_listed_at_the_level_of_coupled_waves(hunt: Hunt) -> None:
    lobes = [p for p in hunt.peaks if p.kind == "sidelobe"]
    assert len(lobes) >= 12
    for lobe in lobes:
        ratio = lobe.power_mw / hunt.peaks[lobe.best.partner - 1].power_mw
        # -13.26 dB in weak drive, -9.34 dB at full drive: Yariv & Yeh (1984)
        assert -13.6 < 10 * np.log10(ratio.n) < -9.3


def test_lines_are_named_from_one_line_and_the_cut(tops: dict[str, float]) -> None:
    one = {"wavelength_nm": [float(air_to_vacuum(588.92))], "u_wavelength_nm": 0.1}
    cut = fit_cut(pd.DataFrame({**one, "frequency_mhz": tops["E"], "u_frequency_mhz": 0.02}))
    lines = {line.name: ufloat(float(air_to_vacuum(line.wavelength_air_nm)), 0.1) for line in SKERRY.lines}
    named = fit_hunt(swept(3), lines=lines, tuning=cut, harmonics={2: -19.0, 3: -24.0})
    assert [p.name for p in named.lines] == list("GFEDCBA")
    assert [p.title for p in named.ghosts] == [
        f"ghost of peak {p.number} by the 2nd harmonic" for p in named.lines if p.name in "AB"
    ]


def test_a_line_at_half_of_anothers_frequency_is_no_ghost() -> None:
    other = next(nm for nm in np.arange(740.0, 800.0, 0.02) if float(true_peak_frequency(nm)) < 93.2055 / 2)
    lines = (*SKERRY.lines, LineTruth("H", float(other), float(other), 0.1, True, 0.35))
    quiet = replace(SKERRY.amplifier, harmonics_dbc=((2, -60.0), (3, -70.0)))
    hunt = fit_hunt(swept(4, replace(SKERRY, lines=lines, amplifier=quiet)))
    lowest = hunt.lines[0]
    assert lowest.frequency_mhz.n == pytest.approx(46.60, abs=0.03)
    assert len(hunt.lines) == 8
    assert not hunt.ghosts


def test_a_common_separation_tells_the_other_polarisation() -> None:
    hunt = fit_hunt(swept(5, plan=replace(DEMO_HUNT, second_mhz=0.6, second_share=0.2)))
    seconds = hunt.of_kind("other polarisation")
    assert len(seconds) == 7
    for peak in seconds:
        away = peak.frequency_mhz - hunt.peaks[peak.partner - 1].frequency_mhz
        assert away.n == pytest.approx(0.6, abs=0.02)


def test_a_lone_neighbour_is_called_ambiguous() -> None:
    near = next(nm for nm in np.arange(583.0, 589.0, 0.01) if float(true_peak_frequency(nm)) < 64.2321 + 0.5)
    lines = (*SKERRY.lines, LineTruth("H", float(near), float(near), 0.1, True, 0.4))
    hunt = fit_hunt(swept(6, replace(SKERRY, lines=lines)))
    peak = min(hunt.peaks, key=lambda p: abs(p.frequency_mhz.n - 64.733))
    assert peak.kind == "ambiguous"
    assert {e.kind for e in peak.explanations if e.share > 0.01} == {"line", "other polarisation"}
    assert "line, or other polarisation of peak" in peak.title


def test_without_light_there_are_no_peaks() -> None:
    dark = [fit_hunt(swept(seed, light=False)) for seed in range(8)]
    assert sum(len(h.peaks) for h in dark) == 0
    assert [c.name for c in dark[0].fit.failed] == ["peaks"]
    assert 0.002 < dark[0].detection_mw < 0.02


def test_a_peak_at_the_edge_and_few_readings_say_so() -> None:
    plan = replace(DEMO_HUNT, start_mhz=54.7, stop_mhz=90.0, step_mhz=0.12)
    hunt = fit_hunt(swept(7, plan=plan))
    first = hunt.peaks[0]
    assert any("edge" in note for note in first.notes)
    assert any("readings over its FWHM" in note for peak in hunt.lines for note in peak.notes)
    assert {"range", "step"} <= {c.name for c in hunt.fit.failed}


@pytest.mark.parametrize(("seed", "beyond"), [(1, 0.25), (2, 0.5), (3, 0.5), (4, 0.8)])
@pytest.mark.parametrize("end", ["start", "stop"])
def test_a_peak_whose_top_lies_beyond_the_sweep_is_placed_no_better_than_it_is_known(
    tops: dict[str, float], seed: int, beyond: float, end: str
) -> None:
    """Only a flank was seen of line E, whose top lies ``beyond`` FWHM outside: the truth is the simulator's."""
    at = tops["E"] / COUNTED
    plan = replace(DEMO_HUNT, start_mhz=at + beyond * 0.3, stop_mhz=80.0)
    if end == "stop":
        plan = replace(DEMO_HUNT, start_mhz=50.0, stop_mhz=at - beyond * 0.3)
    hunt = fit_hunt(swept(seed, plan=plan))
    peak = (hunt.of_kind("line", "ghost", "ambiguous", "unexplained"))[0 if end == "start" else -1]
    away = abs(peak.frequency_mhz.n - tops["E"])
    assert away < 2.5 * peak.frequency_mhz.s
    assert 0.1 < peak.frequency_mhz.s < 0.3
    assert peak.fwhm_mhz is None
    assert "cut off by the edge of the sweep: its top is near or" in peak.notes[0]
    assert "range" in [c.name for c in hunt.fit.failed]


def test_light_at_an_edge_of_which_no_peak_was_made_is_said() -> None:
    """Only the lower flank of line A is swept, and neither a peak nor a cut-off one describes it."""
    at = float(true_peak_frequency(SKERRY.line("A").wavelength_air_nm)) - 0.163
    hunt = fit_hunt(swept(17, plan=replace(DEMO_HUNT, start_mhz=at - 7.0, stop_mhz=at)))
    (told,) = [c.detail for c in hunt.fit.failed if c.name == "range"]
    assert told.startswith(
        f"light at {hunt.range_mhz[1]:.2f} MHz, an edge of the sweep, of which no peak could be made"
    )


def test_a_stated_time_constant_agrees_with_the_one_found(hunt: Hunt) -> None:
    told = fit_hunt(swept(), time_constant_s=ufloat(0.9, 0.05))
    assert abs((told.lag_steps - hunt.lag_steps).n) < 3 * hunt.lag_steps.s
    assert hunt.lag_steps.n == pytest.approx(1 / np.expm1(DEMO_HUNT.dwell_s / 0.9), abs=4 * hunt.lag_steps.s)


def test_table_text_and_plot_name_every_kind(hunt: Hunt) -> None:
    table = hunt.table
    assert len(table) == len(hunt.peaks)
    assert table["frequency_mhz"].is_monotonic_increasing
    assert (table["prominence_mw"] <= table["optical_power_mw"] * 1.05).all()
    assert "ghost of peak" in str(hunt)
    assert "<caption>Hunt from" in hunt._repr_html_()
    for log in (True, False):
        ax = hunt.plot(Figure().subplots(), log=log)
        words = [t.get_text() for t in ax.get_legend().get_texts()]
        assert {"line (7)", "ghost (2)"} <= set(words)
        markers = {line.get_marker() for line in ax.get_lines() if line.get_label() in ("line (7)", "ghost (2)")}
        assert len(markers) == 2


def test_the_counters_error_is_in_every_centre(hunt: Hunt) -> None:
    from aotf_lab.estimation import CommonError, new_cause

    error = CommonError("counter time base", "frequency_mhz", "relative", new_cause("counter time base", 15e-6))
    shared = fit_hunt(Readings(swept(), (error,)))
    budget = shared.fit.budget(shared.lines[-1].frequency_mhz)
    assert budget["counter time base"] > 0
    assert "motion within a step" in budget
