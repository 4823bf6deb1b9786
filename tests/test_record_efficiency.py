"""RF power of kept set-points: that of the session, by cause and line; invented readings beside the demo bench."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from uncertainties import correlation_matrix, ufloat

import aotf_lab
from aotf_lab.crystal import EfficiencyLines, fit_efficiency_lines
from aotf_lab.errors import RecordError
from aotf_lab.estimation import CommonError, new_cause, u_by_cause
from aotf_lab.planning import Curves, set_points
from aotf_lab.planning.set_point import SetPoint, SetPoints
from aotf_lab.reading.instruments import POWER_SCALE_UNSTATED
from aotf_lab.reading.readings import Readings
from aotf_lab.record import (
    CauseBook,
    CrystalRecord,
    KeptSetPoints,
    OscillatorRecord,
    crystal_record,
    kept_set_points,
    oscillator_record,
    read_record,
    record_text,
    save_record,
)
from aotf_lab.session.keep import records_of
from tests.kept import changed_file, small_crystal, small_oscillator

WAVELENGTHS = {"B": 473.06, "E": 588.96, "G": 671.1, "never measured": 532.2}
GAIN = CommonError("scope gain", "rf_power_w", "relative", new_cause("scope gain", 0.02), 2.0)


def saturation_w(nm: float) -> float:
    return 0.415 * (nm / 589.0) ** 2


def lines(reach: Mapping[str, float], *common: CommonError) -> EfficiencyLines:
    """Return the fit of lines that were driven to a ``reach`` each, in units of P_sat."""
    rng, plan = np.random.default_rng(5), {}
    for name, top in reach.items():
        nm = WAVELENGTHS[name]
        power = np.linspace(top / 15, top, 15) * saturation_w(nm)
        light = 0.86 * np.sin(np.pi / 2 * np.sqrt(power / saturation_w(nm))) ** 2
        u_power, u_light = 0.008 * power, 0.005 * light + 0.003
        table = {"rf_power_w": power + u_power * rng.normal(size=15), "u_rf_power_w": u_power,
                 "efficiency": light + u_light * rng.normal(size=15), "u_efficiency": u_light}  # fmt: skip
        plan[name] = (Readings(pd.DataFrame(table), common), nm)
    return fit_efficiency_lines(plan)


def both(
    curves: Curves, wanted: Mapping[str, Any], folder: Path, lines_kept: Mapping[str, Any] | None = None
) -> tuple[SetPoints, KeptSetPoints]:
    """Return the set-points of ``curves``, and of the calibrations kept of them, written and read."""
    assert curves.vco is not None
    made = (
        oscillator_record(curves.vco, name="x", measured="2031-03-02"),
        crystal_record(curves, wanted if lines_kept is None else lines_kept, name="x", measured="2031-03-02"),
    )
    oscillator, crystal = (read_record(save_record(r, folder)) for r in made)
    assert isinstance(oscillator, OscillatorRecord)
    assert isinstance(crystal, CrystalRecord)
    return set_points(replace(curves, level=None, safe=None), wanted), kept_set_points(oscillator, crystal, wanted)


def same(own: SetPoints, kept: SetPoints, rel: float = 1e-9) -> None:
    """Assert that power and efficiency agree: value, u of every cause, what lines share, and the words."""
    for a, b in zip(own, kept, strict=True):
        assert b.remark == a.remark
        for x, y in ((a.rf_power_w, b.rf_power_w), (a.efficiency, b.efficiency)):
            assert (x is None) == (y is None)
            if x is not None and y is not None:
                assert y.n == pytest.approx(x.n, rel=rel)
                assert y.s == pytest.approx(x.s, rel=1e-6)
                assert _shared(y) == pytest.approx(_shared(x), rel=1e-6, abs=1e-9)
    for name in ("rf_power_w", "efficiency"):
        first, second = ([getattr(p, name) for p in points if getattr(p, name) is not None] for points in (own, kept))
        if first:
            assert np.array(correlation_matrix(second)) == pytest.approx(np.array(correlation_matrix(first)), abs=1e-6)


def _shared(number: Any) -> dict[str, float]:
    names = ("scope gain", "pad", "load", "mismatch", "peak efficiency of a line never measured")
    return {cause: u for cause, u in u_by_cause(number).items() if cause in names and u > 1e-9}


def test_power_and_efficiency_are_the_sessions(demo: aotf_lab.Session, tmp_path: Path) -> None:
    own, kept = both(demo.curves, demo.wavelengths_nm, tmp_path)
    same(own, kept)
    for a, b in zip(demo.set_points(), kept, strict=True):
        assert a.rf_power_w is not None
        assert b.rf_power_w is not None
        assert b.rf_power_w.n == pytest.approx(a.rf_power_w.n, rel=1e-9)  # the demo's amplifier limits none of them
        assert b.supply_v is None
    assert _shared(kept["E"].rf_power_w).keys() >= {"scope gain", "pad"}


def test_a_line_never_measured_has_one_doubt_however_often_it_is_asked_for(
    demo: aotf_lab.Session, tmp_path: Path
) -> None:
    """GUM F.1.2.3: what two answers owe to one assumption cancels in their difference."""
    oscillator, crystal = (read_record(save_record(r, tmp_path)) for r in records_of(demo, measured="2031-03-02"))
    assert isinstance(oscillator, OscillatorRecord)
    assert isinstance(crystal, CrystalRecord)
    wanted, own = {"green": 532.15, "yellow": 577.0}, CauseBook()
    first, second = (kept_set_points(oscillator, crystal, wanted, book=own) for _ in range(2))
    other = kept_set_points(oscillator, crystal, wanted, book=CauseBook())
    doubt = u_by_cause(first["green"].efficiency)["peak efficiency of a line never measured"]
    assert doubt > 0.01
    for name in wanted:
        assert (first[name].efficiency - second[name].efficiency).s < 1e-9
        assert (first[name].efficiency - other[name].efficiency).s > doubt
    assert (first["green"].efficiency - first["yellow"].efficiency).s > doubt  # two lines, two doubts
    assert crystal.light_curves(own) is crystal.light_curves(own)
    assert crystal.light_curves() is crystal.light_curves()


def test_lines_between_and_beyond_are_the_sessions(demo: aotf_lab.Session, tmp_path: Path) -> None:
    wanted = {"green": 532.15, "near B": 473.3, "blue": 452.0, "beyond": 730.0}
    own, kept = both(demo.curves, wanted, tmp_path, demo.wavelengths_nm)
    same(own, kept)
    assert kept["green"].rf_power_w is not None


@pytest.mark.parametrize("rated", [0.05, 0.3, 0.5])
def test_a_power_held_by_the_rating_is_the_sessions(demo: aotf_lab.Session, rated: float, tmp_path: Path) -> None:
    own, kept = both(replace(demo.curves, rated_rf_power_w=rated), demo.wavelengths_nm, tmp_path)
    same(own, kept)
    assert "by the crystal's rating" in kept["G"].remark


def test_u_of_the_efficiency_is_that_of_drawn_curves(demo: aotf_lab.Session) -> None:
    """JCGM 101:2008: 20,000 draws by numpy of the kept numbers; law of coupled waves in tune (Yariv and Yeh (1984))."""
    curves = replace(demo.curves, rated_rf_power_w=0.3)
    crystal = crystal_record(curves, demo.wavelengths_nm, name="x", measured="2031-03-02")
    point = kept_set_points(small_oscillator(), crystal, ["G"], book=CauseBook())["G"]
    numbers = crystal.numbers
    draws = np.random.default_rng(11).multivariate_normal(numbers.values, numbers.covariance(), 20_000)
    law, exponent, peak = (draws[:, numbers.place(n)] for n in ("law saturation_w", "law exponent", "light G"))
    scale = np.prod([1 + draws[:, k] for k, n in enumerate(numbers.names) if n.startswith("relative power")], axis=0)
    power = scale * point.rf_power_w.n
    needed = law * (crystal.lines["G"] / 589.0) ** exponent
    light = peak * np.sin(np.pi / 2 * np.sqrt(power / needed)) ** 2
    assert point.rf_power_w.s == pytest.approx(np.std(power), rel=0.03)  # 5 standard deviations of a std from draws
    assert point.efficiency.s == pytest.approx(np.std(light), rel=0.05)  # and some 1 % of bend
    assert point.efficiency.n == pytest.approx(np.mean(light), abs=0.2 * point.efficiency.s)


@pytest.mark.parametrize(
    ("reach", "level"),
    [
        ({"B": 0.3, "E": 1.4, "G": 0.8}, "full"),
        ({"B": 0.3, "E": 0.7}, "asymmetric interval"),
        ({"B": 0.2, "E": 0.25}, "slope only"),
    ],
)
def test_drives_however_low_are_the_sessions(
    demo: aotf_lab.Session, reach: dict[str, float], level: str, tmp_path: Path
) -> None:
    curves = replace(demo.curves, efficiency=lines(reach, GAIN))
    own, kept = both(curves, WAVELENGTHS, tmp_path)
    assert curves.efficiency is not None
    assert curves.efficiency.level == level
    same(own, kept)
    said = kept["never measured"].remark
    assert ("no line's saturation power is known" in said) == (level == "slope only")
    assert "never tried" in kept["B"].remark or level == "full"


def test_an_offset_of_the_power_and_errors_of_no_instrument(demo: aotf_lab.Session, tmp_path: Path) -> None:
    offset = CommonError("noise", "rf_power_w", "offset", new_cause("noise", 1.0), 2e-3)
    odd = CommonError("own coupler", "rf_power_w", "relative", new_cause("own coupler", 0.01))
    efficiency = lines({"B": 0.3, "E": 1.4, "G": 0.8}, GAIN, odd, offset)
    for rated in (0.8, 0.2):
        own, kept = both(replace(demo.curves, efficiency=efficiency, rated_rf_power_w=rated), WAVELENGTHS, tmp_path)
        same(own, kept)
        assert kept["E"].rf_power_w is not None


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"rated_rf_power_w": None}, "state [crystal] rated_rf_power_w from the crystal's own papers"),
        ({"efficiency": None}, "no RF power is given: efficiency against RF power was not measured"),
        ({"efficiency": None, "missing": {"efficiency": "e.csv: too dark"}}, "no RF power is given: e.csv: too dark"),
    ],
)
def test_a_power_that_is_not_known_is_said_as_the_session_does(
    demo: aotf_lab.Session, change: dict[str, Any], words: str, tmp_path: Path
) -> None:
    own, kept = both(replace(demo.curves, **change), demo.wavelengths_nm, tmp_path)
    same(own, kept)
    assert words in kept["E"].remark
    assert not [a for a in kept.advice if "supply" in a]


def test_a_pad_that_was_not_stated_is_said_as_the_session_does(demo: aotf_lab.Session, tmp_path: Path) -> None:
    lost = CommonError(POWER_SCALE_UNSTATED, "rf_power_w", "relative", new_cause(POWER_SCALE_UNSTATED, 1.0))
    efficiency = lines({"E": 1.4}, GAIN, lost)
    own, kept = both(replace(demo.curves, efficiency=efficiency), WAVELENGTHS, tmp_path)
    same(own, kept)
    assert "state [instrument.scope] pad_db and probe" in kept["E"].remark


def test_a_scanned_line_of_unknown_wavelength_is_placed_by_its_peak(demo: aotf_lab.Session, tmp_path: Path) -> None:
    own, kept = both(demo.curves, {"C": None}, tmp_path)
    same(own, kept, rel=1e-7)  # the kept tuning curve departs by up to 0.1 kHz
    a, b = own["C"].wavelength_nm, kept["C"].wavelength_nm
    assert b.n == pytest.approx(a.n, abs=1e-3)
    assert b.s == pytest.approx(a.s, rel=0.01)


def test_what_is_missing_and_what_to_do_is_said(demo: aotf_lab.Session, tmp_path: Path) -> None:
    _, kept = both(demo.curves, demo.wavelengths_nm, tmp_path)
    assert "  0.443(26) W  light lost" in dict(kept.rows())["E"]
    assert "no supply is given" in kept.advice[-1]
    assert (
        "measure its level into the load, and take supply and RF power from the set-points of that session"
        in (kept.advice[-1])
    )
    table = pd.read_csv(kept.to_csv(tmp_path / "set.csv")).set_index("line")
    stored = pd.read_json(kept.to_json(tmp_path / "set.json")).set_index("line")
    point: SetPoint = kept["E"]
    assert point.efficiency is not None
    assert table.loc["E", "efficiency"] == point.efficiency.n
    assert table.loc["E", "u_efficiency"] == point.efficiency.s
    assert stored.loc["E", "rf_power_w"] == pytest.approx(point.rf_power_w.n)
    assert not [name for name in table.columns if "supply" in name]


def test_a_file_from_before_the_efficiency_is_read_and_written_as_it_was(tmp_path: Path) -> None:
    path = save_record(small_crystal(), tmp_path)
    assert "efficiency" not in path.read_text()
    back = read_record(path)
    assert isinstance(back, CrystalRecord)
    assert back.light_curves() is None
    assert record_text(back) == path.read_text()
    composed = kept_set_points(small_oscillator(), back)
    assert composed["X"].rf_power_w is None
    assert "RF power" not in composed["X"].remark
    assert "no RF power: the crystal was kept without its efficiency; keep its session anew" in composed.advice


_WRONG: list[tuple[str, Any, str]] = [
    ("level", "fine", "level of all lines; found 'fine'; allowed: 'slope only', 'asymmetric interval' or 'full'"),
    ("level", None, "efficiency: 'level' is of the wrong kind"),
    ("lines", {}, "an efficiency of no line; found 0 lines, none of a known wavelength"),
    ("lines", [], "efficiency: 'lines' is of the wrong kind; found .*; allowed: a table"),
    ("E/level", "", "level of line E; found ''"),
    ("E/driven_w", -1.0, "driven_w of line E in the efficiency; found -1"),
    ("E/driven_w", None, "efficiency, lines, E: 'driven_w' is of the wrong kind"),
    ("E/wavelength_nm", 0.0, "wavelength_nm of line E in the efficiency; found 0"),
    ("E/wavelength_nm", None, "numbers of the efficiency are missing; found no slope_per_w E, curvature E"),
    ("missing", 3, "efficiency: 'missing' is of the wrong kind; found 3; allowed: text"),
]


@pytest.mark.parametrize(("key", "value", "words"), _WRONG)
def test_a_file_that_says_what_cannot_be(
    demo: aotf_lab.Session, key: str, value: Any, words: str, tmp_path: Path
) -> None:
    record = crystal_record(demo.curves, {"E": ufloat(589.12, 0.1)}, name="x", measured="2031-03-02")

    def change(body: dict[str, Any]) -> None:
        line, _, own = key.rpartition("/")
        (body["efficiency"]["lines"][line] if line else body["efficiency"])[own] = value

    with pytest.raises(RecordError, match=words):
        read_record(changed_file(record, tmp_path / "c.json", change))
