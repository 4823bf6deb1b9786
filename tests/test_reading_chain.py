"""From volts on the screen to watts of the fundamental, link by link."""

from dataclasses import dataclass

import numpy as np
import pytest
from uncertainties import UFloat, ufloat

from aotf_lab.errors import AotfLabError
from aotf_lab.physics.rf import (
    mismatch_factor_limits,
    mismatch_u,
    reflection_from_return_loss,
    single_pole_factor,
)
from aotf_lab.reading import Instruments, Scope, read_scope_levels
from aotf_lab.reading.chain import chain_terms
from aotf_lab.reading.harmonic_content import harmonic_excess
from tests.house import published


@dataclass(frozen=True)
class Seen:
    order: int
    share: UFloat


THIRD = (Seen(3, ufloat(0.1, 0.001)),)
SCOPE = Scope(
    gain_percent=2.0, probe=1.0, pad_db=30.0, u_pad_db=0.1, load_ohm=50.0, u_load_ohm=0.5, bandwidth_mhz=200.0,
    input_ohm=50.0, load_return_loss_db=26.0, source_return_loss_db=12.0,
)  # fmt: skip


def test_reflection_against_the_table_of_vswr():
    # shared/rf_vswr.csv: gamma to five digits beside return losses to 0.01 dB
    for row in published("rf_vswr.csv"):
        assert reflection_from_return_loss(float(row["return_loss_dB"])) == pytest.approx(float(row["gamma"]), rel=6e-4)


@pytest.mark.parametrize(("first", "second"), [(0.1, 0.1), (0.05, 0.3), (0.2, 0.3), (0.0, 0.5)])
def test_mismatch_against_every_phase(first, second):
    # |1 - g1 g2 exp(i phase)|^-2 integrated over all phases, each as likely as any other
    phase = np.linspace(0, 2 * np.pi, 20_000, endpoint=False)
    factor = np.abs(1 - first * second * np.exp(1j * phase)) ** -2.0
    low, high = mismatch_factor_limits(first, second)
    assert (low, high) == pytest.approx((factor.min(), factor.max()), rel=1e-6)
    # first order in the product of the reflections; the next is its square
    assert mismatch_u(first, second) == pytest.approx(factor.std(), rel=2 * (first * second) ** 2 + 1e-3, abs=1e-12)


def test_a_reflection_above_one():
    with pytest.raises(AotfLabError, match=r"reflection that no passive port has; found 1.2; allowed: 0 to below 1"):
        mismatch_u(1.2, 0.1)


def test_volts_fall_to_a_root_of_a_half_at_the_bandwidth():
    # definition of -3 dB for a single pole
    assert single_pole_factor(200.0, 200.0) ** -0.5 == pytest.approx(0.5**0.5)


def test_the_links_multiply_to_the_power_that_the_reader_gives(log):
    bench = Instruments(scope=SCOPE, harmonics=THIRD)
    readings = read_scope_levels(log("Level (Vrms),Frequency (MHz)\n0.2,80\n"), bench)
    chain = chain_terms(bench, 80.0)
    assert 0.2**2 * chain.factor == pytest.approx(readings.table["rf_power_w"][0], rel=1e-12)
    shared = [e.sensitivity * e.variable.s for e in readings.common_errors("rf_power_w")]
    assert chain.u_relative == pytest.approx(np.hypot.reduce(shared), rel=1e-9)


def test_the_table_names_every_link_and_how_it_is_known():
    text = str(chain_terms(Instruments(scope=SCOPE), 80.0))
    links = ("load", "scope gain", "probe", "pad", "input", "noise", "scope bandwidth", "harmonics", "mismatch")
    assert all(word in text for word in links)
    assert "no trace saved" in text
    assert "single pole at 200 MHz" in text
    assert "assumed: not stated" in str(chain_terms(Instruments(), 80.0))
    assert chain_terms(Instruments(scope=SCOPE), 80.0)._repr_html_().startswith("<table>")


def test_a_link_that_is_none():
    with pytest.raises(AotfLabError, match=r"no such link of the chain; found 'cable'; allowed: load, scope gain"):
        chain_terms(Instruments(), 80.0)["cable"]


def test_the_ratio_of_two_powers_does_not_hold_the_scale(log):
    # everything that is common cancels; at one frequency nothing but the scatter is left
    bench = Instruments(scope=SCOPE)
    readings = read_scope_levels(log("Level (Vrms),Frequency (MHz)\n0.2,80\n0.1,80\n"), bench)
    one, two = readings.table["rf_power_w"]
    for error in readings.common_errors("rf_power_w"):
        one, two = error.applied_to(one), error.applied_to(two)
    assert one.s > 0.05 * one.n
    assert (one / two).s < 1e-12


def test_an_open_input_behind_a_pad_shows_four_times_the_power(log):
    path = log("Level (Vrms)\n0.2\n")
    shut, wide = (
        read_scope_levels(path, Instruments(scope=Scope(probe=1, pad_db=30, input_ohm=ohm))).table["rf_power_w"][0]
        for ohm in (50.0, 1e6)
    )
    assert shut / wide == pytest.approx(4.0)
    without = Instruments(scope=Scope(probe=1, pad_db=0, input_ohm=1e6))
    assert chain_terms(without, 60.0)["input"].factor == 1.0


def test_noise_and_dc_leave_in_squares(log):
    # an rms meter adds signal, noise and DC in squares (definition): 5 mV of signal under 3 mV and 4 mV
    bench = Instruments(scope=Scope(probe=1, pad_db=0, noise_mvrms=3.0, dc_offset_mv=4.0), harmonics=())
    readings = read_scope_levels(log(f"Level (Vrms)\n{(3**2 + 4**2 + 5**2) ** 0.5 * 1e-3}\n"), bench)
    assert readings.table["rf_power_w"][0] == pytest.approx((5e-3) ** 2 / 50)
    (error,) = (e for e in readings.common if e.name.startswith("noise"))
    assert (error.kind, abs(error.sensitivity) * error.variable.s) == (
        "offset",
        pytest.approx(0.2 * 2 * (5e-3) ** 2 / 50),
    )
    link = chain_terms(bench, 60.0, level_v=50**0.5 * 1e-3)["noise and DC"]
    assert link.factor == pytest.approx(0.5)
    assert link.u_relative == pytest.approx(abs(error.sensitivity) * error.variable.s / ((5e-3) ** 2 / 50))
    swing = read_scope_levels(log("Level (Vpp)\n0.01\n"), bench)
    assert not any(e.name.startswith("noise") for e in swing.common)


def test_a_level_that_is_all_noise():
    bench = Instruments(scope=Scope(probe=1, pad_db=0, noise_mvrms=3.0))
    with pytest.raises(AotfLabError, match=r"a level of noise and DC alone; found 2 mV rms; allowed: above 3 mV rms"):
        chain_terms(bench, 60.0, level_v=0.002)


def test_harmonics_in_volts_rms_by_parseval():
    excess = harmonic_excess(THIRD, "rms", np.array([60.0]), None)
    assert excess.factor[0] == pytest.approx(1.1)
    # through a pole at 180 MHz the third harmonic of 60 MHz has lost half, the fundamental a tenth
    assert harmonic_excess(THIRD, "rms", np.array([60.0]), 180.0).factor[0] == pytest.approx(1 + 0.1 * (10 / 9) / 2)


def test_harmonics_in_volts_peak_to_peak_against_every_phase():
    x, a = np.linspace(0, 2 * np.pi, 4096, endpoint=False), 0.1**0.5
    phases = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    swings = np.array([(np.ptp(np.cos(x) + a * np.cos(3 * x - p)) / 2) ** 2 - 1 for p in phases])
    excess = harmonic_excess(THIRD, "peak to peak", np.array([60.0]), None)
    assert excess.factor[0] - 1 == pytest.approx(swings.mean(), abs=0.03)
    assert excess.u * excess.factor[0] > swings.std()


@pytest.mark.parametrize("order", [2, 3, 4, 5])
def test_the_wide_assumption_holds_what_one_harmonic_up_to_10_dbc_can_do(order):
    x = np.linspace(0, 2 * np.pi, 2048, endpoint=False)
    swings = [
        (np.ptp(np.cos(x) + share**0.5 * np.cos(order * x - p)) / 2) ** 2 - 1
        for share in np.linspace(0, 0.1, 41) for p in np.linspace(0, 2 * np.pi, 73)
    ]  # fmt: skip
    assert min(swings) > -0.251
    assert max(swings) < 0.733


def test_a_trace_narrows_what_harmonics_cost():
    seen = (Seen(2, ufloat(10**-1.9, 1e-4)), Seen(3, ufloat(10**-2.4, 1e-4)))
    at = np.array([50.0, 90.0])
    for kind in ("rms", "peak to peak"):
        assert harmonic_excess(seen, kind, at, 200.0).u < harmonic_excess(None, kind, at, 200.0).u
