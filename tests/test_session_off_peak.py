"""An efficiency that was read beside the peak of its line, and a probe that a saved trace tells of."""

import numpy as np
import pytest

from tests.test_session_checked import NOT_STATED, bench, checked, none_of, of

__all__ = ["bench", "checked"]

CENTRE_MHZ, FWHM_MHZ = 64.2, 0.3
HALF = 0.442946  # sinc^2(pi x) = 1/2: Abramowitz & Stegun, table of sin(x)/x, from memory
WHAT = "an efficiency measured beside the peak"


def light(frequency_mhz):
    """A weakly driven passband: sinc^2, half of its light at half of the FWHM."""
    return np.sinc(2 * HALF * (frequency_mhz - CENTRE_MHZ) / FWHM_MHZ) ** 2


def scan(way):
    """Return a scan both of whose flanks are there, quiet, so that its peak is known to a few kHz."""
    rng = np.random.default_rng(2 + way)
    f = np.linspace(63.6, 64.8, 31)[::way]
    rows = [f"{a:.4f},{2 + 300 * light(a) * (1 + 0.003 * rng.normal()) + 0.2 * rng.normal():.2f},2.0\n" for a in f]
    return "Frequency (MHz),Diffracted (uW),Dark (uW)\n" + "".join(rows)


def series(off_mhz):
    """Return an efficiency series counted ``off_mhz`` beside the peak."""
    rows = [f"{30 + 10 * k},{CENTRE_MHZ + off_mhz:.4f},{40 + 30 * k},600\n" for k in range(6)]
    return "Level (mVrms),Frequency (MHz),Diffracted (uW),Incident (uW)\n" + "".join(rows)


def check_at(checked, off_mhz):
    return checked(
        NOT_STATED,
        up=("scan", 'line = "E"\ndirection = "up"', scan(1)),
        down=("scan", 'line = "E"\ndirection = "down"', scan(-1)),
        drive=("efficiency", 'line = "E"', series(off_mhz)),
    )


@pytest.mark.parametrize("off_mhz", [0.15, -0.15])
def test_an_efficiency_at_half_of_the_peak_says_so(checked, off_mhz):
    check = check_at(checked, off_mhz)
    found = of(check, WHAT)
    assert found.place == "drive.csv"
    assert int(found.found.split("passes ")[1].split(" %")[0]) == pytest.approx(50, abs=2)
    assert not check.usable


@pytest.mark.parametrize("off_mhz", [0.0, 0.015, -0.015])
def test_an_efficiency_at_the_peak_is_let_pass(checked, off_mhz):
    assert none_of(check_at(checked, off_mhz), WHAT)


@pytest.mark.parametrize(("said", "other"), [("10.0", True), ("1.0", False)])
def test_a_saved_trace_that_tells_of_another_probe(checked, said, other):
    wave = 0.03 * np.sin(2 * np.pi * 64.2e6 * 5e-10 * np.arange(1000))
    head = f"Vertical Units,V,,\nHorizontal Units,s,,\nProbe Atten,{said},,\n\nTIME,CH2\n"
    text = head + "".join(f"{5e-10 * k:.4E},{v:.5f}\n" for k, v in enumerate(wave))
    check = checked(NOT_STATED, trace=("trace", "counter_mhz = 64.2", text))
    assert none_of(check, "another probe") is not other
    if other:
        assert of(check, "another probe, a factor of 100 in RF power").place == "trace.csv:3"
