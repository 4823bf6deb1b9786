"""Each fault switch of the invented bench raises its own check and no other (many benches: tests/benchmarks/faults.py).

The bench is invented, so this tests the behaviour of the checks on a known cause, no physics.
"""

import pytest

from aotf_lab.simulate import NO_FAULTS, SKERRY, Faults
from aotf_lab.simulate.raw_files import raw_files
from tests.benchmarks.faults_bench import BASELINE, SWITCHES, TOO_LOW, bench, texts, waves_of

SEEDS = (11, 12)


@pytest.fixture(scope="module")
def benches():
    waves = waves_of(7)
    return [bench(seed, waves) for seed in SEEDS]


@pytest.mark.parametrize("switch", SWITCHES, ids=lambda s: s.name)
def test_a_switch_raises_its_own_check_and_no_other(benches, switch):
    for each in benches:
        assert each.failed(switch) - {TOO_LOW} == {switch.own}


def test_without_a_fault_no_check_fails(benches):
    for each in benches:
        assert each.failed(BASELINE) <= {TOO_LOW}


@pytest.mark.parametrize("switch", SWITCHES, ids=lambda s: s.name)
def test_a_switch_changes_no_file_but_sweep_and_scans(switch):
    good, bad = raw_files(11), raw_files(11, SKERRY, switch.faults)
    changed = {name for name in good if good[name] != bad.get(name)}
    assert all(name == "vco_warm.csv" or name.startswith("scan_") for name in changed)
    assert changed or switch.faults.mistyped_anchor
    some = texts(11, switch.faults)
    assert some == {name: bad[name] for name in some}


def test_a_line_whose_scan_is_sound_is_left_alone():
    good, bad = texts(3, NO_FAULTS), texts(3, Faults(second_polarisation="D"))
    assert {n for n in good if good[n] != bad[n]} == {"scan_D_up.csv", "scan_D_down.csv"}
