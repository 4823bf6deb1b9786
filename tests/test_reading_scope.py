"""RF levels, and the power that they mean."""

import numpy as np
import pytest
from uncertainties import ufloat

from aotf_lab.errors import ReadingError
from aotf_lab.reading import Instruments, Scope, read_scope_levels
from tests.house import published

SINE = Instruments(harmonics=())


def sine(**stated):
    """A bench with this scope, and a pure sine."""
    return Instruments(scope=Scope(**stated), harmonics=())


@pytest.mark.parametrize(("header", "key"), [("Level (Vrms)", "Vrms"), ("Scope (Vpp)", "Vpp"), ("Level (dBm)", "dBm")])
def test_power_in_50_ohm_against_a_published_table(log, header, key):
    # dBm, W and V in 50 ohm: university opto-electronics hand-out, R = 50 ohm; six printed digits
    rows = published("rf_50ohm.csv")
    table = read_scope_levels(log("\n".join([header, *(r[key] for r in rows)])), SINE).table
    assert table["rf_power_w"].tolist() == pytest.approx([float(r["P_W"]) for r in rows], rel=1.1e-5)
    assert table["rf_level_vrms"].tolist() == pytest.approx([float(r["Vrms"]) for r in rows], rel=6e-6)


def test_power_behind_pad_and_probe_against_the_published_table(log):
    # 10 dB and 40 dB of the same table: a pad of 30 dB takes 10 W to 10 mW; a x10 probe divides volts by ten
    by_dbm = {r["dBm"]: r for r in published("rf_50ohm.csv")}
    path = log(f"Level (Vrms)\n{by_dbm['10']['Vrms']}\n")
    padded = read_scope_levels(path, sine(pad_db=30.0)).table["rf_power_w"]
    probed = read_scope_levels(path, sine(probe=10.0)).table["rf_power_w"]
    assert padded.tolist() == pytest.approx([float(by_dbm["40"]["P_W"])], rel=1.1e-5)
    assert probed.tolist() == pytest.approx([float(by_dbm["30"]["P_W"])], rel=1.1e-5)


def test_shared_errors_of_rf_power_against_uncertainties(log):
    bench = sine(
        gain_percent=1.5, probe=1.0, pad_db=30.0, u_pad_db=0.1, load_ohm=50, u_load_ohm=0.5, bandwidth_mhz=200,
        u_bandwidth_percent=4.0, load_return_loss_db=20.0, source_return_loss_db=20.0,
    )  # fmt: skip
    readings = read_scope_levels(log("Level (Vrms),Frequency (MHz)\n0.2,100\n"), bench)
    power = readings.table["rf_power_w"].iloc[0]
    gain, pad, load, pole = ufloat(1, 0.015), ufloat(30, 0.1), ufloat(50, 0.5), ufloat(200, 8)
    mismatch = ufloat(0, 2**0.5 * 0.1 * 0.1)
    expected = (0.2 * gain * 10 ** (pad / 20)) ** 2 / load * (1 + (100 / pole) ** 2) * (1 + mismatch)
    assert power == pytest.approx(expected.n, rel=1e-12)
    by_cause = {"scope gain": gain, "pad": pad, "load": load, "scope bandwidth": pole, "mismatch": mismatch}
    sizes = {name: abs(expected.derivatives[v]) * v.s / expected.n for name, v in by_cause.items()}
    found = {e.name: abs(e.sensitivity) * e.variable.s for e in readings.common_errors("rf_power_w")}
    assert found == pytest.approx(sizes)


def test_bandwidth_is_minus_3_db_at_its_own_frequency(log):
    # single pole: half the power is lost at the stated bandwidth (definition of -3 dB)
    path = log("Level (Vrms),Frequency (MHz)\n1,200\n1,0.001\n")
    readings = read_scope_levels(path, sine(bandwidth_mhz=200.0))
    assert readings.table["rf_power_w"].tolist() == pytest.approx([2 / 50, 1 / 50], rel=1e-9)
    assert any("corrected as a single pole: RF power up to x2.000" in n for n in readings.receipts[0].notes)


def test_the_doubt_about_the_roll_off_grows_with_frequency(log):
    # at its bandwidth half of the power is correction, and that may be anything from none to whole: 0.5 / sqrt 12
    path = log("Level (Vrms),Frequency (MHz)\n1,200\n1,50\n")
    (error,) = (e for e in read_scope_levels(path, sine(bandwidth_mhz=200.0)).common if e.name == "scope bandwidth")
    sizes = error.at(np.array([200.0, 50.0])) * error.variable.s
    assert sizes == pytest.approx([0.5 / 12**0.5, (1 / 17) / 12**0.5])
    assert error.sensitivity * error.variable.s == pytest.approx(sizes.mean())


@pytest.mark.parametrize("scope", [Scope(), Scope(bandwidth_mhz=200.0)])
def test_bandwidth_that_cannot_be_corrected_widens(log, scope):
    readings = read_scope_levels(log("Level (Vrms),Supply (V)\n1,12\n"), Instruments(scope=scope))
    sizes = {e.name: e.sensitivity * e.variable.s for e in readings.common}
    assert sizes["scope bandwidth"] == pytest.approx(0.10)
    assert "10 % of RF power assumed" in str(readings.receipts[0])


@pytest.mark.parametrize(("heading", "middle", "u"), [("Vrms", 1.05, 0.10), ("Vpp", 1.24, 0.98)])
def test_without_a_trace_harmonics_are_assumed_and_said(log, heading, middle, u):
    path = log(f"Level ({heading})\n2\n")
    plain, wide = read_scope_levels(path, SINE), read_scope_levels(path, Instruments())
    assert plain.table["rf_power_w"][0] / wide.table["rf_power_w"][0] == pytest.approx(middle)
    (error,) = (e for e in wide.common if e.name.startswith("harmonics"))
    assert error.variable.s == pytest.approx(u / 12**0.5 / middle)
    assert "no trace saved" in str(wide.receipts[0])
    assert not any(e.name.startswith("harmonics") for e in plain.common)


def test_random_u_of_rf_power(log):
    path = log("Level (Vrms),u (Vrms)\n1,0.01\n2,\n0,\n")
    table = read_scope_levels(path, sine(u_reading_percent=3.0)).table
    assert table["u_rf_power_w"].tolist() == pytest.approx([0.02 / 50, 0.06 * 4 / 50, 1e-4 * 4 / 50])


def test_rf_power_as_stated(log):
    readings = read_scope_levels(log("RF power (mW),Supply (V)\n500,12\n"), Instruments(scope=Scope(pad_db=30.0)))
    assert readings.table["rf_power_w"].tolist() == [0.5]
    assert "no pad, probe or bandwidth applied" in str(readings.receipts[0])


@pytest.mark.parametrize(("scope", "missing"), [(Scope(probe=1.0), "pad"), (Scope(pad_db=30.0), "probe factor")])
def test_a_level_without_pad_or_probe_leaves_every_watt_unknown(log, scope, missing):
    readings = read_scope_levels(log("Level (Vrms)\n5\n"), Instruments(scope=scope))
    (error,) = (e for e in readings.common_errors("rf_power_w") if e.name == "pad or probe not stated")
    power = readings.table["rf_power_w"].iloc[0]
    assert error.applied_to(power).s == pytest.approx(power)
    assert f"{missing} not stated" in str(readings.receipts[0])
    assert "RF power may be wrong by any factor" in str(readings.receipts[0])


def test_levels_of_one_bench_share_the_unknown_pad(log):
    bench = Instruments()
    first, second = (read_scope_levels(log(f"Level (Vrms)\n{v}\n"), bench) for v in (1, 2))
    one, two = (next(e for e in r.common if e.name == "pad or probe not stated") for r in (first, second))
    assert (one.applied_to(1.0) - two.applied_to(1.0)).s == 0.0


def test_a_level_with_pad_and_probe_stated_is_known(log):
    readings = read_scope_levels(log("Level (Vpp)\n5\n"), Instruments(scope=Scope(probe=1.0, pad_db=0.0)))
    assert "pad or probe not stated" not in {e.name for e in readings.common}
    assert "any factor" not in str(readings.receipts[0])


@pytest.mark.parametrize(("body", "unknown"), [("RF power (W)\n0.5\n", False), ("Level (dBm)\n27\n", True)])
def test_a_stated_power_does_not_hang_on_the_pad_and_a_level_does(log, body, unknown):
    assert ("pad or probe not stated" in {e.name for e in read_scope_levels(log(body)).common}) is unknown


def test_a_stated_power_says_nothing_of_pad_and_probe(log):
    receipt = str(read_scope_levels(log("RF power (W)\n0.5\n")).receipts[0])
    assert "pad not stated" not in receipt
    assert "probe factor not stated" not in receipt


def test_no_level(log):
    message = r"log.csv:1: no column that means an RF level or RF power; found 'supply_v'; allowed"
    with pytest.raises(ReadingError, match=message):
        read_scope_levels(log("supply_v\n12\n"))


def test_two_columns_of_rf_power(log):
    with pytest.raises(ReadingError, match=r"two columns give the RF power; found rf_level_vrms, rf_power_w; allowed"):
        read_scope_levels(log("Level (Vrms),RF power (W)\n5,0.5\n"))


def test_negative_level(log):
    with pytest.raises(ReadingError, match=r"log.csv:3: negative rf_level_vrms; found -1; allowed: zero or more"):
        read_scope_levels(log("Level (Vrms)\n1\n-1\n"))
