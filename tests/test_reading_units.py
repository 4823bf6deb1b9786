"""Units of the bench. Prefixes: BIPM, The International System of Units, 9th ed. (2019), table 7."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import constants

from aotf_lab.errors import ReadingError
from aotf_lab.physics.rf import watt_to_dbm
from aotf_lab.reading.units import bench_unit, bench_values, is_unit, kinds_of, parse_unit, to_bench

# the prefixes of table 7 as scipy.constants has them
PREFIX = {
    "p": constants.pico, "n": constants.nano, "u": constants.micro,
    "\u00b5": constants.micro, "\u03bc": constants.micro,
    "m": constants.milli, "c": constants.centi, "": 1.0, "k": constants.kilo, "M": constants.mega, "G": constants.giga,
}  # fmt: skip


@pytest.mark.parametrize(
    ("base", "prefixes"),
    [
        ("V", "u\u00b5\u03bcm"), ("W", "pnu\u00b5\u03bcm"), ("Hz", "kMG"), ("s", "nmu\u00b5\u03bc"), ("Vrms", "m"),
        ("A", "u\u00b5\u03bcm"), ("ohm", "kM"), ("\u03a9", "kM"), ("\u2126", "kM"), ("m", "cmu\u00b5\u03bcnp"),
        ("S/s", "kMG"), ("Sa/s", "kMG"),
    ],
)  # fmt: skip
def test_prefixes_are_those_of_the_si(base, prefixes):
    for prefix in ["", *prefixes]:
        assert parse_unit(prefix + base).factor == PREFIX[prefix]


@pytest.mark.parametrize(
    ("value", "unit", "column", "expected"),
    [
        (1250.0, "mV", "drive_v", 1.25),
        (62500.0, "kHz", "frequency_mhz", 62.5),
        (0.0625, "GHz", "frequency_mhz", 62.5),
        (12.0, "µW", "optical_power_mw", 0.012),
        (0.589, "um", "wavelength_nm", 589.0),
        (80.0, "pm", "u_wavelength_nm", 0.08),
        (2.0, "min", "time_s", 120.0),
        (22.0, "deg C", "temperature_c", 22.0),
        (88.0, "%", "efficiency", 0.88),
        (30.0, "dBm", "rf_power_w", 1.0),
        (-30.0, "dBm", "dark_power_mw", 1e-3),
        (-30.0, "dBW", "incident_power_mw", 1.0),
        (4.0, "kHz", "u_frequency_mhz", 0.004),
        (5889.6, "\u00c5", "wavelength_nm", 5889.6 * constants.angstrom / constants.nano),
        (5889.6, "\u212b", "wavelength_nm", 588.96),
        (5.8896e-7, "m", "wavelength_nm", 588.96),
        (295.15, "K", "temperature_c", 295.15 - constants.zero_Celsius),
        (0.5, "K", "u_temperature_c", 0.5),
        (0.0, "dBW", "rf_power_w", 1.0),
        (-3.0, "dBW", "rf_level_dbm", 27.0),
        (120.0, "mA", "supply_a", 0.12),
        (500.0, "ppm", "efficiency", 5e-4),
    ],
)
def test_conversion_to_the_bench_unit(value, unit, column, expected):
    assert to_bench(value, parse_unit(unit), column) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("text", ["mw", "MW", "mhz", "mHz", "MHZ", "mv", "MV", "Mw", "MA", "mohm", "m\u03a9"])
def test_milli_or_mega_is_refused(text):
    with pytest.raises(ReadingError, match=rf"log.csv:1: ambiguous unit: m is milli and M is mega; found '{text}'"):
        parse_unit(text, "log.csv:1")


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("Vp", "from zero or from the other peak"),
        ("°F", "are not converted"),
        ("a.u.", "no size"),
        ("k", "kelvin and kilo look alike"),
        ("ks/s", "S is a sample and s a second"),
    ],
)
def test_other_units_that_decide_nothing_are_refused(text, reason):
    with pytest.raises(ReadingError, match=f"ambiguous unit: .*{reason}"):
        parse_unit(text)


@pytest.mark.parametrize("text", ["", "furlong", "S", "NM", "Ms", "mVV", "UM"])
def test_unknown_units_are_refused(text):
    message = rf"unknown unit; found '{text}'; allowed: V, mV, uV, Vrms, .*in a layout, .*capitals included"
    with pytest.raises(ReadingError, match=message):
        parse_unit(text)


@pytest.mark.parametrize(
    ("column", "unit"),
    [
        ("optical_power_mw", "dBm"), ("drive_v", "Vrms"), ("u_rf_power_w", "dBm"), ("rf_power_w", "dB"),
        ("dark_power_mw", "dB"), ("u_dark_power_mw", "dBm"),
        ("drive_v", "counts"), ("supply_v", "ohm"), ("frequency_mhz", "MS/s"), ("wavelength_nm", "A"),
    ],
)  # fmt: skip
def test_a_unit_of_another_kind_is_refused(column, unit):
    with pytest.raises(
        ReadingError, match=rf"a .* cannot be {column}(?:: .*)?; found '{unit}'; allowed: .*(?:V|W|Hz|nm)"
    ):
        to_bench(1.0, parse_unit(unit), column)


def test_case_is_free_where_it_decides_nothing():
    assert parse_unit("KHZ") == parse_unit("khz") == parse_unit("kHz")
    assert parse_unit("dbm").kind == "power level"
    assert parse_unit(" V rms ") == parse_unit("VRMS") == parse_unit("V_rms")
    assert parse_unit("Vpk-pk") == parse_unit("Vpp")


def test_what_looks_like_a_unit():
    assert [is_unit(t) for t in ("nm", "mw", "set", "counter", "")] == [True, True, False, False, False]
    assert kinds_of("u_rf_power_w") == ("power",)


@settings(max_examples=60, deadline=None)
@given(value=st.floats(1e-6, 1e6), column=st.sampled_from(["frequency_mhz", "drive_v", "optical_power_mw", "time_s"]))
def test_every_unit_of_a_kind_says_the_same_quantity(value, column):
    units = {
        "frequency_mhz": ("Hz", "kHz", "MHz", "GHz"),
        "drive_v": ("uV", "mV", "V"),
        "time_s": ("ms", "s", "min", "h"),
    }
    for unit in map(parse_unit, units.get(column, ("nW", "uW", "mW", "W"))):
        in_unit = value / to_bench(1.0, unit, column)
        assert to_bench(in_unit, unit, column) == pytest.approx(value, rel=1e-12)


def test_units_of_settings_and_columns():
    assert [parse_unit(t).kind for t in ("dB", "kohm", "MS/s", "LSB", "ADC counts", "cm")] == [
        "level ratio", "resistance", "sample rate", "counts", "counts", "length",
    ]  # fmt: skip
    assert (bench_unit("supply_a").symbol, kinds_of("supply_a")) == ("A", ("current",))


@settings(max_examples=60, deadline=None)
@given(values=st.lists(st.floats(1e-9, 1e9), max_size=5), unit=st.sampled_from(["uW", "W", "dBm", "dBW"]))
def test_many_values_are_converted_as_one(values, unit):
    levels = np.array([float(watt_to_dbm(v)) if unit.startswith("dB") else v for v in values])
    many = bench_values(levels, parse_unit(unit), "rf_power_w")
    assert many.tolist() == pytest.approx(
        [to_bench(float(v), parse_unit(unit), "rf_power_w") for v in levels], rel=1e-15
    )
