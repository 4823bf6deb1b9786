"""Separation of the orders: what the colours say, what they cannot say, and errors."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from uncertainties import ufloat

from aotf_lab.crystal.angles import fit_angles
from aotf_lab.errors import FitError, OutOfRangeError, ReadingsError
from aotf_lab.estimation import CommonError, new_cause, variance_shares
from aotf_lab.physics.air import air_to_vacuum
from aotf_lab.reading.readings import Readings
from aotf_lab.simulate.optics import SKERRY_OPTICS, spots_run
from aotf_lab.simulate.truth import SKERRY

LINES = [line for line in SKERRY.lines if line.anchor]
WAVELENGTHS = {line.name: float(air_to_vacuum(line.wavelength_air_nm)) for line in LINES}


def spots(wedge_deg: float = 0.0, lines: list = LINES, seed: int = 2, **changes: float) -> Readings:
    """Spots of the invented bench with the errors of ruler and screen that it states."""
    optics = replace(SKERRY_OPTICS, wedge_deg=wedge_deg, **changes)
    table = spots_run(np.random.default_rng(seed), lines, optics=optics).assign(u_spot_mm=0.4)
    mark, tape = new_cause("mark of the undiffracted spot", 0.4), new_cause("distance to the screen", 3.0)
    return Readings(
        table,
        (CommonError("mark", "spot_mm", "offset", mark), CommonError("tape", "distance_mm", "offset", tape)),
    )


def test_parallel_faces_give_the_velocity():
    found = fit_angles(spots(), WAVELENGTHS, velocity_m_s=ufloat(643.0, 3.0))
    assert found.kind == "law"
    assert found.velocity_m_s is found.apparent_velocity_m_s
    assert abs(found.velocity_m_s.n - 643.4) < 2 * found.velocity_m_s.s
    assert found.fit.trusted
    assert found.separation(WAVELENGTHS["E"], 64.23).n == pytest.approx(found.separation_mrad["E"].n, abs=0.5)
    assert "wedged on purpose" in str(found)


def test_a_wedge_made_to_register_the_colours_says_nothing_of_v():
    found = fit_angles(spots(3.87), WAVELENGTHS, velocity_m_s=300.0)
    assert found.kind == "registered"
    assert found.velocity_m_s is None
    assert abs(found.spread_mrad.n) < 1.0
    assert [c.passed for c in found.fit.checks if c.name == "velocity"] == [True]
    with pytest.raises(FitError, match="no law of the separation to ask; found all colours leave in one direction"):
        found.separation(550.0, 60.0)


def test_a_wedge_in_between_is_neither():
    found = fit_angles(spots(-3.0), WAVELENGTHS, velocity_m_s=643.0)
    assert found.kind == "neither"
    assert [c.name for c in found.fit.failed] == ["colours"]
    assert found.velocity_m_s is None


def test_two_colours_that_lie_close_cannot_tell():
    near = [replace(SKERRY.line("D"), wavelength_air_nm=nm, name=name) for name, nm in (("D", 560.0), ("E", 566.0))]
    found = fit_angles(spots(lines=near), {"D": 560.16, "E": 566.16}, velocity_m_s=500.0)
    assert found.kind == "either"
    assert found.velocity_m_s is None
    assert found.fit.trusted


def test_one_colour_keeps_its_doubt():
    found = fit_angles(spots(lines=LINES[:1]), WAVELENGTHS, velocity_m_s=ufloat(700.0, 1.0))
    assert (found.kind, found.velocity_m_s) == ("one colour", None)
    assert [c.name for c in found.fit.failed] == ["velocity"]
    assert "wedged exit face, which one colour cannot show" in str(found.fit.failed[0])


def test_a_wrong_velocity_is_held_against_the_angles():
    found = fit_angles(spots(), WAVELENGTHS, velocity_m_s=ufloat(700.0, 1.0), parallel_faces=True)
    assert [c.name for c in found.fit.failed] == ["velocity"]
    assert "700.0(1.0) m/s stated" in str(found.fit.failed[0])


def test_exchanged_labels_are_neither():
    exchanged = {**WAVELENGTHS, "B": WAVELENGTHS["G"], "G": WAVELENGTHS["B"]}
    assert fit_angles(spots(), exchanged).kind == "neither"


def test_the_distance_is_a_cause_that_all_share():
    found = fit_angles(spots(), WAVELENGTHS)
    b, g = found.separation_mrad["B"], found.separation_mrad["G"]
    assert "distance to the screen" in variance_shares(found.apparent_velocity_m_s)
    assert found.spread_mrad.s < 0.6 * (b.s**2 + g.s**2) ** 0.5


def test_own_marks_do_not_cancel_between_colours():
    one, own = (fit_angles(spots(), WAVELENGTHS, own_marks=o) for o in (False, True))
    assert own.spread_mrad.s > 1.4 * one.spread_mrad.s


def test_an_uncertain_wavelength_widens_its_share():
    loose = {**WAVELENGTHS, "B": ufloat(WAVELENGTHS["B"], 6.0), "G": ufloat(WAVELENGTHS["G"], 8.0)}
    exact, found = fit_angles(spots(), WAVELENGTHS), fit_angles(spots(), loose)
    assert found.fit.parameters["wavelength_B_nm"].s < 6.0
    assert found.apparent_velocity_m_s.s > exact.apparent_velocity_m_s.s


def test_a_wavelength_may_stand_in_the_table():
    table = spots().table.assign(wavelength_nm=[WAVELENGTHS[n] for n in spots().table["label"]])
    assert fit_angles(table).apparent_velocity_m_s.n == pytest.approx(643.4, rel=0.02)
    assert fit_angles(table.assign(spot_mm=-table["spot_mm"])).kind == "law"


def test_plot_and_words():
    found = fit_angles(spots(), WAVELENGTHS)
    assert found.plot().get_ylabel() == "Separation of the orders θ (mrad)"
    assert "<caption>Angles: 8 spots of 4 lines</caption>" in found._repr_html_()


def test_no_wavelength():
    with pytest.raises(ReadingsError, match="no wavelength of the line 'B' of these spots; found nan nm"):
        fit_angles(spots(), {"E": 589.1})


def test_no_distance_above_zero():
    with pytest.raises(ReadingsError, match="distance_mm of a spot; found 0; allowed: a finite number above zero"):
        fit_angles(spots().table.assign(distance_mm=0.0), WAVELENGTHS)


def test_no_columns():
    with pytest.raises(ReadingsError, match="no column 'distance_mm' in these readings; found spot_mm"):
        fit_angles(pd.DataFrame({"spot_mm": [1.0], "frequency_mhz": 60.0}), 589.0)


def test_beyond_the_frequencies_measured():
    with pytest.raises(OutOfRangeError, match="frequency lies outside the measured range; found 40 MHz"):
        fit_angles(spots(), WAVELENGTHS).separation(800.0, 40.0)
