"""What ``fit_modulator`` says of a simulated Bragg cell. The light comes from coupled waves at the detuning that
tests/published/test_physics_bragg.py holds against the wave vectors; nothing of the fit is used to make it."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from uncertainties import ufloat

from aotf_lab.crystal.modulator.breadth import LEAST_BANDWIDTH, half_light_mhz
from aotf_lab.crystal.modulator.modulator import fit_modulator
from aotf_lab.errors import AotfLabError, ReadingsError
from aotf_lab.physics.bragg import acoustic_bandwidth_mhz, klein_cook
from aotf_lab.simulate.modulator import FULMAR, modulator_efficiency, modulator_response


def readings(seed, truth=FULMAR):
    rng = np.random.default_rng(seed)
    both = [modulator_response(rng, way, truth) for way in ("up", "down")]
    return [t.assign(u_optical_power_mw=np.hypot(0.0011, 0.004 * t["optical_power_mw"])) for t in both]


def true_band(truth=FULMAR, rf_w=0.2):
    f = np.linspace(40.0, 100.0, 600_001)
    light = modulator_efficiency(f, rf_w, truth)
    inside = f[light >= 0.5 * light.max()]
    return float(f[np.argmax(light)]), float(inside[-1] - inside[0])


@pytest.fixture(scope="module")
def cell():
    return fit_modulator(
        readings(1), wavelength_nm=632.99, velocity_m_s=ufloat(4200.0, 30.0), diameter_mm=ufloat(1.0, 0.02), line="R"
    )


def off(value, true):
    return abs(value.n - true) / value.s


def test_carrier_and_bandwidth_come_back(cell):
    carrier, band = true_band()
    assert off(cell.carrier_mhz, carrier) < 3.5
    assert off(cell.bandwidth_mhz, band) < 3.5
    assert cell.carrier_mhz.s < 0.01 * band
    assert cell.trusted, [str(c) for c in cell.failed]


def test_intervals_hold_the_truth():
    carrier, band = true_band()
    cells = [fit_modulator(readings(seed), wavelength_nm=632.99) for seed in range(10, 40)]
    z = np.array([[(c.carrier_mhz.n - carrier) / c.carrier_mhz.s, (c.bandwidth_mhz.n - band) / c.bandwidth_mhz.s]
                  for c in cells])  # fmt: skip
    assert np.mean(np.abs(z) < 1.96) > 0.85
    assert np.all(np.abs(z.mean(axis=0)) < 0.6)


def test_angles_follow_from_the_velocity(cell):
    """2 theta = wavelength f / v outside; its u is that of v, all but nothing of the carrier."""
    assert cell.separation_deg.n == pytest.approx(np.degrees(1e-3 * 632.99 * cell.carrier_mhz.n / 4200.0), rel=1e-4)
    assert cell.separation_deg.s / cell.separation_deg.n == pytest.approx(30.0 / 4200.0, rel=0.02)
    assert (cell.separation_deg - 2 * cell.bragg_angle_deg).s == pytest.approx(0.0, abs=1e-12)


def test_edges_are_predicted(cell):
    assert cell.rise_time_us.n == pytest.approx(0.6408 * 1e3 / 4200.0, rel=1e-4)
    assert (cell.rise_time_us * cell.modulation_frequency_mhz).n == pytest.approx(0.480, abs=1e-3)
    assert (cell.rise_time_us * cell.modulation_frequency_mhz).s == pytest.approx(0.0, abs=1e-12)


def test_klein_cook_by_the_bandwidth(cell):
    """Without a transducer's own limit: Q = 2 pi wavelength L f^2 / (n v^2)."""
    true = float(klein_cook(FULMAR.carrier_mhz, FULMAR.wavelength_nm, 4200.0, FULMAR.length_mm, 2.26))
    assert cell.klein_cook.n == pytest.approx(true, rel=0.04)
    weak = float(acoustic_bandwidth_mhz(FULMAR.carrier_mhz, FULMAR.wavelength_nm, 4200.0, FULMAR.length_mm, 2.26))
    assert 0.9 * weak < cell.bandwidth_mhz.n < 1.2 * weak


def test_without_velocity_or_beam_nothing_is_said_of_them():
    bare = fit_modulator(readings(1), wavelength_nm=632.99)
    assert bare.bragg_angle_deg is None
    assert bare.separation_deg is None
    assert bare.rise_time_us is None
    assert bare.modulation_frequency_mhz is None
    assert bare.saturation_power_w is None
    assert "Bragg" not in str(bare)


def test_known_drive_is_taken(cell):
    known = fit_modulator(readings(1), wavelength_nm=632.99, drive_ratio=0.2 / 0.45)
    assert known.response.drive_ratio == pytest.approx(0.2 / 0.45)
    assert abs(known.carrier_mhz.n - cell.carrier_mhz.n) < 3 * cell.carrier_mhz.s


def test_thin_sound_has_no_band_to_measure():
    rng = np.random.default_rng(3)
    f = np.linspace(2.0, 200.0, 120)
    light = 2.0 * modulator_efficiency(f, 0.2, replace(FULMAR, length_mm=3.0, velocity_m_s=8000.0))
    table = pd.DataFrame({"frequency_mhz": f, "optical_power_mw": light + rng.normal(0, 0.002, f.size),
                          "u_optical_power_mw": 0.002})  # fmt: skip
    with pytest.raises(ReadingsError, match="does not fall to half of its light on both sides"):
        fit_modulator(table, wavelength_nm=632.99, time_constant_s=0.0)


def test_response_that_was_not_scanned_far_enough():
    short = [t[np.abs(t["frequency_mhz"] - 73.0) < 6.0] for t in readings(1)]
    with pytest.raises(ReadingsError, match="the response does not fall to half"):
        fit_modulator([t.reset_index(drop=True) for t in short], wavelength_nm=632.99)


@pytest.mark.parametrize(
    ("known", "words"),
    [
        ({"wavelength_nm": 0.0}, "wavelength of a modulator; found 0 nm"),
        ({"wavelength_nm": 633.0, "velocity_m_s": -1.0}, "acoustic velocity of a modulator; found -1 m/s"),
        ({"wavelength_nm": 633.0, "diameter_mm": 0.0}, "beam of a modulator; found 0 mm"),
    ],
)
def test_what_cannot_be(known, words):
    with pytest.raises(AotfLabError, match=words):
        fit_modulator(readings(1), **known)


def test_too_few_carriers():
    with pytest.raises(ReadingsError, match="too few readings for a scan; found 3"):
        fit_modulator(readings(1)[0].iloc[:3], wavelength_nm=632.99)


def test_picture_and_text(cell):
    assert "best carrier" in str(cell)
    assert "<table>" in cell._repr_html_()
    assert "band" in " ".join(t.get_text() for t in cell.plot().get_legend().get_texts())


def test_a_response_as_narrow_as_a_filters_is_refused():
    """Half of the light within 0.5 MHz of 64 MHz, by the Gaussian that the readings are made of."""
    f = np.linspace(63.0, 65.0, 81)
    light = 0.002 + np.exp(-4.0 * np.log(2.0) * ((f - 64.0) / 0.5) ** 2)
    table = pd.DataFrame({"frequency_mhz": f, "optical_power_mw": light})
    carrier, width = half_light_mhz(f, light)
    assert carrier == 64.0
    assert 0.5 <= width <= 0.5 + 2 * 0.025
    with pytest.raises(ReadingsError, match=r"too narrow for a plain modulator; found half of the light within 0.5 M"):
        fit_modulator(table, wavelength_nm=632.99)


def test_a_cell_of_the_least_bandwidth_is_taken():
    """The bandwidth goes as 1/length, ``physics.bragg``: 0.8 m of glass leave 2.8 % of the carrier, which is fitted."""
    truth = replace(FULMAR, length_mm=800.0)
    band = acoustic_bandwidth_mhz(70.0, 632.99, 4200.0, 800.0, 2.26)
    f = np.linspace(70.0 - 2 * band, 70.0 + 2 * band, 41)
    table = pd.DataFrame({"frequency_mhz": f, "optical_power_mw": modulator_efficiency(f, 0.05, truth)})
    cell = fit_modulator(table, wavelength_nm=632.99)
    assert LEAST_BANDWIDTH < cell.bandwidth_mhz.n / 70.0 < 1.5 * LEAST_BANDWIDTH
    assert cell.bandwidth_mhz.n == pytest.approx(band, rel=0.02)
