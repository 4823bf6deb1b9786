"""The eight traces of the invented bench: readable, and the fit comes back to the truth."""

from __future__ import annotations

import pytest

from aotf_lab.driver.waveform import fit_waveform
from aotf_lab.reading import Instruments, Scope
from aotf_lab.reading.trace import read_trace
from aotf_lab.simulate.amplifier import true_rf_power
from aotf_lab.simulate.trace import TRACES, trace_counts_mhz, trace_files
from tests.driver_traces import failed

BENCH = Instruments(
    scope=Scope(
        gain_percent=2.5, probe=1.0, pad_db=30.0, u_pad_db=0.1, load_ohm=50.0, u_load_ohm=0.5, bandwidth_mhz=200.0,
        u_bandwidth_percent=5.0, input_ohm=50.0, load_return_loss_db=26.0, source_return_loss_db=15.0,
    )
)  # fmt: skip


@pytest.fixture(scope="module")
def waves(tmp_path_factory):
    folder = tmp_path_factory.mktemp("traces")
    counts, waves = trace_counts_mhz(), {}
    for name, text in trace_files().items():
        (folder / name).write_text(text, encoding="utf-8")
        waves[name] = fit_waveform(read_trace(folder / name), BENCH, counter_mhz=counts[name])
    return waves


def test_files_are_small_and_the_same_each_time():
    files = trace_files()
    assert files == trace_files(0)
    assert files != trace_files(1)
    assert len(files) == 8
    assert all(name.startswith("trace_") for name in files)
    assert max(map(len, files.values())) < 10_000


def test_six_good_traces_give_the_true_power(waves):
    good = [name for name in TRACES if name not in ("trace_clipped.csv", "trace_slow.csv")]
    pulls = []
    for name in good:
        wave, setting = waves[name], TRACES[name]
        assert failed(wave) == set()
        assert wave.periods > 40
        pulls.append(
            (wave.rf_power_w.n - float(true_rf_power(setting.supply_v, wave.frequency_mhz.n))) / wave.rf_power_w.s
        )
        levels = [h.level_dbc for h in wave.harmonics]
        assert levels[:2] == pytest.approx([-19, -24], abs=0.25)
        assert not any(h.seen for h in wave.harmonics[2:])
    assert max(pulls) < 2
    assert max(pulls) - min(pulls) < 0.2  # the error is that of the scale, common to all
    ratio = waves[good[0]].rf_power_w / waves[good[1]].rf_power_w
    assert ratio.s / ratio.n < 0.01 < 0.05 < waves[good[0]].rf_power_w.s / waves[good[0]].rf_power_w.n


def test_frequencies_agree_with_the_counter(waves):
    for name, counted in trace_counts_mhz().items():
        wave = waves[name]
        true = wave.unfolded_mhz[0] if name == "trace_slow.csv" else wave.frequency_mhz
        assert true.n == pytest.approx(counted, abs=3 * true.s)


def test_the_clipped_and_the_slow_one_are_named(waves):
    assert "clipping" in failed(waves["trace_clipped.csv"])
    assert waves["trace_clipped.csv"].rf_power_w is None
    assert {"alias", "samples per period"} == failed(waves["trace_slow.csv"])
    assert waves["trace_slow.csv"].rf_power_w is None


def test_without_a_counter_the_oscillators_range_leaves_two(waves):
    wave = fit_waveform(waves["trace_slow.csv"].readings, BENCH, expected_mhz=(41.0, 98.0))
    assert [round(f.n) for f in wave.unfolded_mhz] == [72, 78]
