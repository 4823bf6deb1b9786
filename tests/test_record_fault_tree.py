"""Half the light is gone: each cause comes back with its size, ties are said, and errors."""

from __future__ import annotations

import numpy as np
import pytest
from uncertainties import ufloat

from aotf_lab.errors import AotfLabError
from aotf_lab.record.fault_tree import causes, half_the_light, readings
from aotf_lab.record.fault_tree.chain import READINGS, Chain, StoredDay
from tests.conftest import flat

CONSTANTS = {
    "drive_ratio": 0.6, "detuning_mhz": 0.0, "range_mw": 3.0, "aperture_mm": 2.0, "beam_diameter_mm": 1.6,
    "mhz_per_k": -0.046, "mhz_per_supply_v": 0.55, "relative_per_k": 4.6e-5, "db_per_supply_v": 0.0,
}  # fmt: skip
THEN = {
    "light_mw": 1.0, "incident_mw": 1.3, "through_mw": 1.25, "depletion": 0.78, "dark_mw": 0.004,
    "frequency_mhz": 64.23, "peak_mhz": 64.23, "fwhm_mhz": 0.290, "rf_power_w": 0.25, "return_loss_db": 13.0,
    "polarisation_deg": 0.0, "rise_us": 1.6, "box_c": 26.0, "crystal_c": 22.6, "supply_v": 15.0,
}  # fmt: skip
SIZES = {
    "laser": -0.69, "head": -0.69, "full": 1.0, "zero": -0.5, "oscillator": 0.11, "box": 2.6, "supply": -0.2,
    "mount": -0.12, "crystal": 15.0, "rf_weak": -4.5, "rf_strong": 5.5, "match": -4.5, "polarisation": 45.0,
    "before": -0.7, "sound": -0.7, "behind": -0.7, "wider": 0.9,
}  # fmt: skip


def stored(**changed):
    numbers = {n: ufloat(v, readings()[n].u_of(v)) for n, v in THEN.items()}
    return numbers | CONSTANTS | changed


def read(names, state=None, **constants):
    """Today's readings, without noise, in a state of the bench."""
    chain = Chain(
        StoredDay({n: np.array([v]) for n, v in {**THEN, **CONSTANTS, **constants}.items()}),
        {n: np.array([v]) for n, v in (state or {}).items()},
    )
    values = {n: float(np.ravel(READINGS[n][1](chain))[0]) for n in names}
    return {n: ufloat(v, readings()[n].u_of(v)) for n, v in values.items()}


@pytest.mark.parametrize("key", list(SIZES))
def test_every_cause_comes_back_alone_with_its_size(key):
    limits = {"range_mw": 0.5} if key == "full" else {}
    today = read(readings(), {causes()[key].branches[0]: SIZES[key]}, **limits)
    tree = half_the_light(stored(**limits), today)
    assert tree.first.cause.key == key
    assert tree.decided, tree
    assert tree.first.size == pytest.approx(SIZES[key], abs=max(2.5 * tree.first.u_size, 1e-9))


def test_no_cause_is_listed_that_was_not_tried():
    assert set(SIZES) == set(causes())


def test_a_healthy_bench_has_nothing_wrong():
    tree = half_the_light(stored(), read(readings()))
    assert tree.first.cause.key == "nothing"
    assert tree.decided
    assert tree.next_reading is None
    assert str(tree).splitlines()[1].split("  ")[1] == "nothing is wrong"


def test_laser_and_meter_are_not_told_apart_by_one_meter():
    tree = half_the_light(stored(), read(["light_mw", "incident_mw", "frequency_mhz"], {"laser_ln": -0.69}))
    assert {tree.first.cause.key, *(r.cause.key for r in tree.rivals)} == {"laser", "head"}
    assert not tree.decided
    told = tree.next_reading
    assert told is not None
    assert told.enough
    assert told.reading.key == "light_other_head_mw"
    assert "today's readings do not tell" in str(tree)
    assert "read the order with another light meter" in str(tree)


def test_the_reading_that_it_names_does_tell_them_apart():
    names, state = ["light_mw", "frequency_mhz"], {"turn_deg": 45.0}
    for _ in range(8):
        tree = half_the_light(stored(), read(names, state))
        if tree.next_reading is None:
            break
        names.append(tree.next_reading.reading.key)
    assert tree.first.cause.key == "polarisation"
    assert tree.decided
    assert "light_best_angle_mw" in names


def test_the_cheapest_reading_that_is_enough_is_named():
    names = ["light_mw", "incident_mw", "frequency_mhz", "peak_mhz", "rf_power_w", "return_loss_db", "polarisation_deg"]
    tree = half_the_light(stored(), read(names, {"sound_ln": -0.7}))
    assert {tree.first.cause.key, *(r.cause.key for r in tree.rivals)} == {"before", "sound", "behind", "wider"}
    told = half_the_light(stored(), read([*names, "through_mw"], {"sound_ln": -0.7})).next_reading
    assert told is not None
    assert told.reading.key == "depletion"
    assert sorted([told.expected_first, told.expected_rival]) == pytest.approx([0.39, 0.78], abs=0.02)


def test_without_a_stored_number_no_reading_is_named():
    few = {n: v for n, v in stored().items() if n in ("light_mw", "incident_mw", "rf_power_w", "return_loss_db")}
    today = read(list(few), {"behind_ln": -0.7}) | read(
        ["light_best_angle_mw", "light_other_head_mw"], {"behind_ln": -0.7}
    )
    tree = half_the_light(few, today)
    assert {tree.first.cause.key, *(r.cause.key for r in tree.rivals)} == {"before", "sound", "behind"}
    assert tree.next_reading is None
    assert "no reading that has a stored number would tell" in str(tree)
    assert tree.left_out["oscillator"] == "fwhm_mhz"
    assert "no drive ratio P / P_sat is stored: light is taken to go in proportion to RF power" in str(tree)
    assert "was not judged: not stored: fwhm_mhz" in str(tree)


def test_a_colder_room_is_seen_and_a_laser_is_found_besides():
    cold = {"box_k": -3.0, "crystal_k": -3.0}
    names = ["light_mw", "frequency_mhz", "peak_mhz", "incident_mw", "light_other_head_mw", "box_c", "crystal_c"]
    tree = half_the_light(stored(), read(names, cold))
    assert tree.first.cause.key == "box"
    assert tree.decided
    assert [s.cause.key for s in tree.seen if s.changed] == ["box", "crystal"]
    assert tree.seen[0].light == pytest.approx(0.53, abs=0.015)  # 0.138 MHz off: just within half of 0.29 MHz
    both = half_the_light(stored(), read(names, cold | {"laser_ln": -0.6}))
    assert both.first.cause.key == "laser"
    assert both.first.size == pytest.approx(-0.6, abs=0.1)
    assert "seen directly: the oscillator's box is colder: -3.00(14) K, which alone leaves" in str(both)


def test_without_a_thermometer_a_colder_room_moves_frequency_and_peak():
    cold = {"box_k": -4.0, "crystal_k": -4.0}
    tree = half_the_light(stored(), read(["light_mw", "frequency_mhz", "peak_mhz", "incident_mw"], cold))
    assert tree.first.cause.key == "box"
    assert tree.first.change == "room_k"
    assert tree.first.size == pytest.approx(-4.0, abs=0.5)
    assert tree.telling["oscillator"].reading.key == "box_c"


def test_a_thermometer_alone_is_judged():
    tree = half_the_light(stored(), read(["box_c"], {"box_k": 4.0}))
    assert tree.first.cause.key == "box"
    assert tree.first.size == pytest.approx(4.0)


def test_a_healthy_thermometer_is_no_cause():
    tree = half_the_light(stored(), read(["light_mw", "box_c", "crystal_c", "supply_v"], {"box_k": 0.1}))
    assert tree.first.cause.key == "nothing"
    assert not any(s.changed for s in tree.seen)


def test_two_faults_at_once_are_not_forced_into_one():
    tree = half_the_light(stored(), read(readings(), {"laser_ln": -0.4, "turn_deg": 35.0}))
    assert not tree.decided
    assert next(c.name for c in tree.checks if not c.passed) == "one cause"
    assert "no single cause explains today's readings" in flat(tree)


def test_a_common_time_base_cancels():
    base = ufloat(0.0, 1e-3, tag="counter time base")
    numbers = stored(frequency_mhz=64.23 * (1 + base) + ufloat(0.0, 0.002))
    today = read(["light_mw", "frequency_mhz"], {"oscillator_mhz": 0.11})
    shared = today | {"frequency_mhz": today["frequency_mhz"] * (1 + base)}
    assert half_the_light(numbers, shared).first.cause.key == "oscillator"
    assert half_the_light(numbers, shared).first.u_size < 0.02
    apart = half_the_light(stored(frequency_mhz=ufloat(64.23, 0.064)), today | {"frequency_mhz": ufloat(64.34, 0.064)})
    assert apart.first.u_size > shared["light_mw"].s
    assert apart.rivals


def test_a_passband_that_leans_is_no_second_fault():
    calm = {key: 0.001 for key, cause in causes().items() if cause.wander > 0}
    leaning = read(["light_mw", "frequency_mhz", "incident_mw", "supply_v"], {"supply_v": 0.25}, lean=0.15)

    def first(**known):
        numbers = stored(supply_v=15.0, frequency_mhz=ufloat(64.23, 0.002), **known)
        return half_the_light(numbers, leaning | {"supply_v": ufloat(15.25, 0.001)}, wander=calm).first.cause.key

    assert first() == first(lean=0.15) == "supply"
    assert first(lean=0.0) != "supply"


def test_power_over_saturation_is_the_drive_ratio():
    numbers = {n: v for n, v in stored().items() if n != "drive_ratio"} | {"saturation_w": ufloat(0.4167, 0.01)}
    tree = half_the_light(numbers, read(readings(), {"rf_db": 5.5}))
    assert tree.first.cause.key == "rf_strong"


def test_a_wander_of_ones_own():
    today = read(["light_mw", "incident_mw", "light_other_head_mw"], {"laser_ln": -0.2})
    assert half_the_light(stored(), today).first.cause.key == "laser"
    assert half_the_light(stored(), today, wander={"laser": 0.2}).first.cause.key == "nothing"


def test_html_has_a_row_for_every_cause():
    tree = half_the_light(stored(), read(["light_mw"], {"laser_ln": -0.7}))
    assert tree._repr_html_().count("<tr>") == len(causes()) + 1


def test_a_reading_of_an_unknown_name():
    with pytest.raises(AotfLabError, match="no such reading in the fault tree; found 'light'"):
        half_the_light(stored(), {"light": ufloat(1.0, 0.1)})


def test_a_stored_number_of_an_unknown_name():
    with pytest.raises(AotfLabError, match="no such stored number in the fault tree; found 'power'"):
        half_the_light(stored(power=1.0), read(["light_mw"]))


def test_a_reading_without_a_stored_number():
    with pytest.raises(
        AotfLabError, match="incident_mw: a reading without a stored number to hold it against; found none"
    ):
        half_the_light({"light_mw": 1.0}, {"incident_mw": ufloat(1.3, 0.1)})


def test_a_reading_without_uncertainty():
    with pytest.raises(AotfLabError, match="light_mw: a reading of today without uncertainty"):
        half_the_light(stored(), {"light_mw": 0.5})


@pytest.mark.parametrize("name", list(THEN))
@pytest.mark.parametrize("shift", [0.0, 0.5])
def test_a_stored_number_is_no_reading_of_today(name, shift):
    """The u of a difference (GUM 5.2.2): with r = 1 and equal u it is |u - u| = 0."""
    then = stored()
    with pytest.raises(AotfLabError, match=rf"{name}: a stored number given as a reading of today: both are one and"):
        half_the_light(then, {name: then[name] + shift})
    assert half_the_light(then, {name: ufloat(then[name].n, then[name].s)}).first.cause.key == "nothing"


def test_nothing_was_read():
    with pytest.raises(AotfLabError, match="no reading of today; found none"):
        half_the_light(stored(), {})


def test_numbers_that_cannot_be_used():
    with pytest.raises(
        AotfLabError,
        match=r"stored light_mw out of bounds; found 0; allowed: a finite number above 0",
    ):
        half_the_light(stored(light_mw=0.0), read(["light_mw"]))
    with pytest.raises(AotfLabError, match="frequency_mhz out of bounds; found nan"):
        half_the_light(stored(), {"frequency_mhz": ufloat(float("nan"), 0.1)})


def test_a_drive_at_which_nothing_is_diffracted():
    with pytest.raises(
        AotfLabError, match="stored drive ratio P / P_sat at which hardly any light is diffracted; found 4"
    ):
        half_the_light(stored(drive_ratio=4.0), read(["light_mw"]))


def test_an_unknown_wander():
    with pytest.raises(AotfLabError, match="no such cause in the fault tree; found 'mouse'"):
        half_the_light(stored(), read(["light_mw"]), wander={"mouse": 0.1})
    with pytest.raises(AotfLabError, match=r"wander of laser out of bounds; found -1;"):
        half_the_light(stored(), read(["light_mw"]), wander={"laser": -1.0})
