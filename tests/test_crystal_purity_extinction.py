"""Whether a leak is seen, and what extinction is said of readings with known truth.

Outside: random draws, and the propagation of the readings' own uncertainty written out here.
"""

import numpy as np
import pandas as pd
import pytest
from uncertainties import ufloat

from aotf_lab.crystal.purity.detection import Detection, detection_limit, upper_limit
from aotf_lab.crystal.purity.extinction import extinction
from aotf_lab.errors import FitError, ReadingsError
from aotf_lab.estimation import CommonError, new_cause, u_by_cause
from aotf_lab.reading.readings import Readings

U_POWER_MW = 0.0012


def readings(net, n=8, u=U_POWER_MW, seed=0, dark=0.0023):
    rng = np.random.default_rng(seed)
    power = net + dark + u * rng.standard_normal(n)
    return pd.DataFrame({"optical_power_mw": power, "u_optical_power_mw": u, "dark_power_mw": dark,
                         "u_dark_power_mw": 0.0004})  # fmt: skip


# detection


def test_upper_limit_covers_near_zero():
    """Draws at truths from 0 to 5 u: never below 95 % less three times the spread of 20,000 draws."""
    rng = np.random.default_rng(1)
    for truth in (0.0, 0.5, 1.0, 2.0, 5.0):
        drawn = truth + rng.standard_normal(4000)
        covered = np.mean([upper_limit(y, 1.0) >= truth for y in drawn])
        assert covered > 0.95 - 3 * (0.95 * 0.05 / 4000) ** 0.5


def test_few_readings_need_more():
    assert upper_limit(0.0, 1.0, dof=3.0) > upper_limit(0.0, 1.0) + 0.5
    assert not Detection(ufloat(2.0, 1.0), dof=3.0).seen
    assert Detection(ufloat(2.0, 1.0)).seen
    assert not Detection(ufloat(2.0, 1.0), tests=20).seen


def test_no_detection_limit_where_u_grows_as_the_leak():
    with pytest.raises(FitError, match="no leak is sure to be seen"):
        detection_limit(lambda y: 1.0 + 0.7 * y)


# extinction


def test_a_leak_below_noise_is_a_bound_and_never_a_number():
    found = extinction(readings(2.0), readings(0.0, seed=2), line="E")
    assert found.level_db is None
    assert found.words().startswith("> ")
    assert found.words().endswith("dB (95 %)")
    u = np.hypot(U_POWER_MW / 8**0.5, 0.0004) / 2.0
    assert -10 * np.log10(2.9 * u) < found.bound_db < -10 * np.log10(0.9 * u)
    assert found.threshold_db == pytest.approx(-10 * np.log10(1.645 * u), abs=0.02)
    assert found.detectable_db == pytest.approx(-10 * np.log10(3.29 * u), abs=0.02)


def test_a_leak_that_is_seen_is_a_number():
    found = extinction(readings(2.0), readings(0.02, seed=2), line="E")
    assert abs(found.level_db.n - 20.0) < 3 * found.level_db.s
    assert found.bound_db < found.level_db.n
    assert "20." in str(found) or "19." in str(found)
    assert "<table>" in found._repr_html_()


def test_dark_reading_counts_once_and_the_zero_is_not_averaged():
    many = extinction(readings(2.0, 500), readings(0.0, 500, seed=2))
    assert many.off.s == pytest.approx(np.hypot(0.0004, U_POWER_MW / 500**0.5), rel=0.01)
    doubt = extinction(readings(2.0, 500), readings(0.0, 500, seed=2), u_zero_mw=0.003)
    assert u_by_cause(doubt.off)["zero of the meter's ranges"] == pytest.approx(0.003)
    assert doubt.bound_db < many.bound_db - 5.0


def test_shared_offset_of_the_meter_cancels_with_a_dark_reading():
    def offset(table):
        variable = new_cause("meter offset", 0.05)
        return Readings(table, tuple(CommonError("meter offset", c, "offset", variable)
                                     for c in ("optical_power_mw", "dark_power_mw")))  # fmt: skip

    assert extinction(offset(readings(2.0)), offset(readings(0.0))).off.s < 0.001
    bare = readings(0.0).drop(columns=["dark_power_mw", "u_dark_power_mw"])
    lit = readings(2.0).drop(columns=["dark_power_mw", "u_dark_power_mw"])
    found = extinction(offset(lit), offset(bare))
    assert found.off.s > 0.05
    assert [c.name for c in found.checks if not c.passed] == ["dark"]


def test_unknown_u_is_taken_from_the_scatter():
    bare = [t.drop(columns=["u_optical_power_mw", "u_dark_power_mw"]) for t in (readings(2.0), readings(0.0, seed=2))]
    found = extinction(*bare)
    assert found.leak.dof < 100
    assert found.level_db is None
    with pytest.raises(ReadingsError, match="a single reading whose uncertainty nobody states; found 1"):
        extinction(bare[0], bare[1].iloc[:1])


def test_scatter_larger_than_stated_is_scaled_up():
    off = readings(0.0, 20, seed=2)
    found = extinction(readings(2.0, 20), off.assign(u_optical_power_mw=1e-5))
    assert [c.name for c in found.checks if not c.passed] == ["scatter"]
    assert found.off.s > 0.5 * U_POWER_MW / 20**0.5


def test_no_light_when_on_is_an_error():
    with pytest.raises(ReadingsError, match="no light when the line is on"):
        extinction(readings(0.0), readings(0.0, seed=3))


def test_a_column_of_only_one_side_is_not_used_and_said():
    found = extinction(readings(2.0).assign(incident_power_mw=2.4), readings(0.0, seed=2))
    assert "one incident_power_mw" in [c.name for c in found.checks if not c.passed]
    with pytest.raises(ReadingsError, match="optical_power_mw is not a number"):
        extinction(readings(2.0).assign(optical_power_mw=np.nan), readings(0.0))
