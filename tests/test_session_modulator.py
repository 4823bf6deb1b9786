"""A session whose crystal is a plain modulator works end to end, and misses no tuning curve. The bench is invented."""

import pytest

from aotf_lab.errors import SessionError
from aotf_lab.report.content_verdict import trouble_names
from aotf_lab.report.preflight import preflight
from aotf_lab.report.write import write_report
from aotf_lab.session import check_session, open_session
from aotf_lab.simulate.modulator import FULMAR, write_modulator_session
from tests.test_session import copy_of_demo


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write_modulator_session(tmp_path_factory.mktemp("fulmar"))


@pytest.fixture(scope="module")
def session(folder):
    return open_session(folder)


def test_nothing_of_a_filter_is_computed_or_missed(session):
    assert session.facts.crystal.kind == "modulator"
    assert not session.troubles
    assert trouble_names(session) == []
    assert not {"tuning", "identity", "scans", "park"} & set(session.parts)
    assert session.curves.tuning is None


def test_carrier_and_saturation_come_back(session):
    cell = session.modulators["R"]
    assert abs(cell.carrier_mhz.n - FULMAR.carrier_mhz) < 3.5 * cell.carrier_mhz.s
    assert abs(cell.saturation_power_w.n - FULMAR.saturation_power_w) < 3.5 * cell.saturation_power_w.s
    assert cell.separation_deg.n == pytest.approx(0.6045, abs=0.002)


def test_set_point_stands_at_the_carrier_and_below_the_rating(session):
    point = session.set_points()["R"]
    assert point.origin == "carrier"
    assert point.reachable
    assert point.frequency_mhz.n == pytest.approx(session.modulators["R"].carrier_mhz.n)
    assert session.vco.frequency(point.drive_v.n).n == pytest.approx(point.frequency_mhz.n, abs=1e-3)
    assert point.rf_power_w.n < FULMAR.rated_power_w
    assert point.supply_v.n <= session.safe_supply.supply_v
    assert point.light_lost_percent < 0.1


def test_check_preflight_and_report_make_sense(session, tmp_path):
    found = check_session(session)
    assert found.usable
    assert found.troubles == ()
    assert found.contradictions == ()
    assert "Highest supply" in str(preflight(session))
    page = write_report(session, tmp_path / "report.html").read_text(encoding="utf-8")
    assert "Best carrier, line R" in page
    assert "set to the best carrier" in page
    assert "could not be computed" not in page


def test_without_its_response_the_session_says_so(tmp_path):
    folder = write_modulator_session(tmp_path)
    path = folder / "session.toml"
    path.write_text(path.read_text().replace('purpose = "scan"', 'purpose = "keep"'))
    session = open_session(folder)
    assert set(session.troubles) == {"modulators"}
    with pytest.raises(SessionError, match="no file with purpose 'scan'"):
        _ = session.modulators


def test_another_kind_is_refused(tmp_path):
    folder = write_modulator_session(tmp_path)
    path = folder / "session.toml"
    path.write_text(path.read_text().replace('kind = "modulator"', 'kind = "deflector"'))
    with pytest.raises(SessionError, match=r"kind.*found 'deflector'; allowed: filter, modulator"):
        open_session(folder)


def test_a_filter_has_no_modulators(demo):
    assert "modulators" not in demo.parts
    assert demo.curves.modulators == {}


def test_a_filter_called_a_modulator_is_told_what_contradicts(tmp_path):
    session = copy_of_demo(tmp_path, edit=lambda t: t.replace("[crystal]", '[crystal]\nkind = "modulator"'))
    check = check_session(session)
    narrow, unread = check.contradictions
    assert not check.usable
    assert narrow.unusable
    assert narrow.what == "scans as narrow as the passband of a tunable filter"
    assert narrow.place == "scan_A_up.csv, scan_A_down.csv, scan_B_up.csv and 11 more"
    assert narrow.stated == '[crystal] kind = "modulator", whose response is 2 % of its carrier wide or more'
    assert unread.what == "files that only a tunable filter has"
    assert unread.found == "purpose hunt, leakage, spectrum"
    # none of them is fitted: the fits took minutes and did not converge
    assert sum("the response is too narrow for a plain modulator" in t for t in check.troubles) == 7
    assert session.modulators == {}


def test_a_filter_is_not_asked_what_a_modulator_is(demo, session):
    for one in (demo, session):
        assert not check_session(one).contradictions
