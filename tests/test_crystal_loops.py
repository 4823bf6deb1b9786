"""The loops on the screen, and the velocity from points seen on them."""

import numpy as np
import pandas as pd
import pytest
from uncertainties import ufloat

from aotf_lab.crystal import fit_cut
from aotf_lab.crystal.loops import expected_loops, fit_loops
from aotf_lab.errors import AotfLabError, FitError, MaterialError, ReadingsError
from aotf_lab.physics.phase_matching import phase_matched_frequency

POLARISATIONS = ("ordinary", "extraordinary")
CHANGED, KEPT = "slow shear, extraordinary", "slow shear, ordinary"
TIPS_DEG = (-12.0, -5.0, 0.0, 6.0, 84.0, 90.0, 95.0, 172.0, 180.0, 186.0, 265.0, 272.0)


@pytest.fixture(scope="module")
def star():
    """Loops of a crystal whose slow shear wave runs at 614 m/s, 1 m away."""
    return expected_loops(10.6, None, 589.0, 1000.0, v110_m_s=614.0)


def points(loops, name, at_deg=TIPS_DEG, u_mm=None, noise=None):
    loop = next(loop for loop in loops.loops if loop.name == name)
    around = np.angle(np.exp(1j * (np.arctan2(loop.y_mm, loop.x_mm)[:, None] - np.radians(at_deg))))
    rows = np.abs(around).argmin(axis=0)
    x, y = (v[rows] + (0.0 if noise is None else noise.normal(size=len(rows)) * u_mm) for v in (loop.x_mm, loop.y_mm))
    table = pd.DataFrame({"x_mm": x, "y_mm": y})
    return table if u_mm is None else table.assign(u_x_mm=u_mm, u_y_mm=u_mm)


def fit(loops, seen, **more):
    setting = loops.scattering
    known = {"cut": ufloat(10.6, 0.05), "distance_mm": ufloat(1000.0, 1.0)} | more
    return fit_loops(seen, frequency_mhz=setting.frequency_mhz, wavelength_nm=589.0, **known)


@pytest.mark.parametrize("incident", POLARISATIONS)
@pytest.mark.parametrize("tilt_deg", [0.0, 4.0])
@pytest.mark.parametrize("incidence_deg", [8.0, 10.6, 20.0])
def test_diffracted_order_lies_on_the_loop_of_the_other_polarisation(incident, tilt_deg, incidence_deg):
    loops = expected_loops(incidence_deg, None, 550.0, 900.0, incident=incident, exit_tilt_deg=tilt_deg)
    changed = POLARISATIONS[1 - POLARISATIONS.index(incident)]
    assert loops.detuning_mhz == 0.0
    assert abs(float(loops.scattering.off_loop(*map(np.asarray, loops.order_mm), 0, changed))) < 1e-12
    loop = next(loop for loop in loops.loops if loop.name == f"slow shear, {changed}")
    order = np.array(loops.order_mm)
    nearest = np.hypot(loop.x_mm - order[0], loop.y_mm - order[1]).min()
    assert nearest < 0.02 * np.hypot(*order)
    assert (order[0] > 0) == (incident == "ordinary")


def test_out_of_tune_the_order_leaves_its_loop():
    loops = expected_loops(10.6, 66.0, 589.0, 1000.0, acoustic_angle_deg=5.3)
    in_tune = float(phase_matched_frequency(589.0, 10.6, 5.3))
    assert loops.detuning_mhz == pytest.approx(66.0 - in_tune, abs=1e-9)
    assert abs(float(loops.scattering.off_loop(*map(np.asarray, loops.order_mm), 0, "extraordinary"))) > 1e-3


def test_loops_are_mirrored_about_the_plane_of_the_cut():
    for loop in expected_loops(10.6, None, 589.0, 1000.0).loops:
        assert loop.y_mm.max() == pytest.approx(-loop.y_mm.min(), rel=1e-4)


def test_fitted_cut_may_be_given():
    guess = pd.DataFrame({"wavelength_nm": [589.0], "frequency_mhz": 64.2})
    cut = fit_cut(guess.assign(u_wavelength_nm=0.1, u_frequency_mhz=0.01))
    loops = expected_loops(cut, None, 589.0, 1000.0)
    assert loops.scattering.incidence_deg == cut.incidence_deg.n
    assert loops.scattering.frequency_mhz == pytest.approx(64.2, abs=0.01)
    found = fit_loops(points(loops, CHANGED, u_mm=0.3), cut, 64.2, 589.0, 1000.0)
    assert found.v110_m_s.n == pytest.approx(617.0, abs=1.0)


def test_words_and_picture_of_the_loops(star):
    text = str(star)
    assert "Loops at 589 nm" in text
    assert "+0.000 MHz from phase matching" in text
    assert all(loop.name in text for loop in star.loops)
    assert "<caption>Loops at 589 nm" in star._repr_html_()
    ax = star.plot()
    assert ax.get_aspect() == 1.0
    assert ax.get_xlabel() == "On the screen, in the plane of the cut x (mm)"
    assert {"undiffracted light", "diffracted order", CHANGED} <= {t.get_text() for t in ax.get_legend().get_texts()}


@pytest.mark.parametrize("name", [CHANGED, KEPT])
def test_velocity_comes_back_from_points_without_noise(star, name):
    found = fit(star, points(star, name, u_mm=0.4))
    assert found.name == name
    assert found.v110_m_s.n == pytest.approx(614.0, abs=0.05)
    assert found.fit.trusted
    assert np.abs(found.off_mm).max() < 0.01
    assert found.velocity_along(5.3).n == pytest.approx(np.hypot(614 * np.cos(0.0925), 2104 * np.sin(0.0925)), abs=0.2)


def test_stated_settings_enter_the_budget(star):
    seen = points(star, CHANGED, u_mm=0.4)
    sharp = fit(star, seen, distance_mm=1000.0)
    blunt = fit(star, seen, distance_mm=ufloat(1000.0, 20.0, "tape measure"))
    assert blunt.v110_m_s.s > 1.5 * sharp.v110_m_s.s
    assert blunt.fit.budget(blunt.v110_m_s)["tape measure"] > 0.4
    # a distance 2 % too long asks for a velocity 2 % too fast, where the distance is the only scale
    wrong = fit(star, seen, distance_mm=1020.0, cut=10.6)
    assert wrong.v110_m_s.n / 614.0 == pytest.approx(1.02, abs=0.004)


def test_axes_and_mark_may_be_off(star):
    seen = points(star, CHANGED, u_mm=0.2)
    turn = np.radians(1.5)
    x = seen["x_mm"] * np.cos(turn) - seen["y_mm"] * np.sin(turn)
    y = seen["x_mm"] * np.sin(turn) + seen["y_mm"] * np.cos(turn)
    found = fit(star, seen.assign(x_mm=x + 0.5, y_mm=y - 0.3), u_spot_mm=0.5, u_turn_deg=2.0)
    assert found.setting["turn_deg"] == pytest.approx(1.5, abs=0.1)
    assert found.setting["spot_y_mm"] == pytest.approx(-0.3, abs=0.05)
    assert found.v110_m_s.n == pytest.approx(614.0, abs=0.5)


def test_velocity_that_contradicts_the_stated_one_is_said(star):
    seen = points(star, CHANGED, u_mm=0.1)
    failed = {c.name: c.detail for c in fit(star, seen, stated_m_s=ufloat(650.0, 2.0)).fit.failed}
    assert "less the stated 650.0 m/s is -3" in failed["velocity"]
    assert set(failed) == {"velocity"}


def test_two_loops_mixed_are_not_called_explained(star):
    at = TIPS_DEG[:4]
    seen = pd.concat([points(star, CHANGED, at, 0.3), points(star, KEPT, at, 0.3)], ignore_index=True)
    failed = {c.name: c.detail for c in fit(star, seen).fit.failed}
    assert "does not explain them all: they may belong to two loops" in failed["explained"]


def test_points_at_one_tip_leave_the_loop_open(star):
    # the tips of both loops differ by a shift that another velocity makes up for
    seen = points(star, KEPT, (-5.0, 0.0, 5.0), 1.0)
    found = fit(star, seen)
    ambiguous = next(c for c in found.fit.failed if c.name == "which loop")
    assert "ambiguous: " in ambiguous.detail
    assert "which would give " in ambiguous.detail
    named = fit(star, seen, loop=("slow shear", "ordinary"))
    assert named.name == KEPT
    assert named.rivals == ()
    assert named.fit.trusted


def test_unknown_uncertainty_comes_from_the_scatter(star):
    seen = points(star, CHANGED, u_mm=0.3, noise=np.random.default_rng(5)).drop(columns=["u_x_mm", "u_y_mm"])
    found = fit(star, seen)
    assert found.name == CHANGED
    assert 0.15 < found.fit.noise < 0.5
    assert [c.name for c in found.fit.failed] == ["stated uncertainty"]
    assert abs(found.v110_m_s.n - 614.0) < 4 * found.v110_m_s.s


def test_words_and_picture_of_the_fit(star):
    found = fit(star, points(star, CHANGED, u_mm=0.4))
    text = str(found)
    assert f"explained by            {CHANGED}" in text
    assert "next best               slow shear, ordinary, chi2 higher by" in text
    assert "stated                  617.0(3.1) m/s" in text
    assert "<th>slow shear along [110]</th>" in found._repr_html_()
    ax = found.plot()
    assert "seen" in {t.get_text() for t in ax.get_legend().get_texts()}


def test_points_on_another_loop_say_nothing_of_the_velocity(star):
    with pytest.raises(FitError, match=r"says nothing of the slow shear wave; found fast shear, ordinary: chi2 = "):
        fit(star, points(star, "fast shear, ordinary", range(0, 360, 30), 0.2))


def test_spot_itself_is_no_point(star):
    seen = pd.DataFrame({"x_mm": [50.0, 0.0], "y_mm": [0.0, 0.0]})
    with pytest.raises(ReadingsError, match=r"row 2: a point that is on no loop; found x 0, y 0 mm; allowed: two"):
        fit(star, seen)


def test_uncertainty_of_one_direction(star):
    with pytest.raises(ReadingsError, match=r"uncertainty of one direction only; found u_x_mm; allowed: u_x_mm"):
        fit(star, points(star, CHANGED, u_mm=0.3).drop(columns="u_y_mm"))


def test_uncertainty_of_zero(star):
    with pytest.raises(ReadingsError, match=r"u_y_mm not above zero; found 0; allowed: a number above zero"):
        fit(star, points(star, CHANGED, u_mm=0.3).assign(u_y_mm=0.0))


def test_loop_that_does_not_exist(star):
    with pytest.raises(AotfLabError, match=r"no such loop; found \('slow', 'ordinary'\); allowed: slow shear / ord"):
        fit(star, points(star, CHANGED, u_mm=0.3), loop=("slow", "ordinary"))


def test_polarisation_that_does_not_exist():
    with pytest.raises(AotfLabError, match=r"no such polarisation .*; found circular; allowed: ordinary, extra"):
        expected_loops(10.6, None, 589.0, 1000.0, incident="circular")


def test_crystal_without_elastic_constants():
    with pytest.raises(MaterialError, match=r"no packaged elastic constants .*; found 'quartz'; allowed: TeO2"):
        expected_loops(10.6, 64.0, 589.0, 1000.0, material="quartz")
