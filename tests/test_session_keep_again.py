"""One session gives the same bytes, however often it is kept, in whichever process, whatever was asked before."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

import aotf_lab
from aotf_lab.session.keep import keep
from tests.conftest import DEMO

_FRESH = """
import sys, aotf_lab
from aotf_lab.session.keep import keep
keep(aotf_lab.open_session(sys.argv[1]), sys.argv[2], measured="2031-03-02")
"""


def _asked(session: aotf_lab.Session) -> None:
    """Ask for the u of what the kept numbers are computed from, and of what else is computed from that."""
    for curve in session.efficiency.own.values():
        assert curve.power_scale.s > 0
        assert curve.slope_per_w.s > 0
    law = session.efficiency.curves
    assert law.at_reference_w.s > 0
    assert law.exponent.s > 0
    assert all(peak.s > 0 for peak in law.peaks.values())
    assert "saturation power" in str(session.efficiency)
    assert len(session.set_points()) == 7


@pytest.fixture(scope="module")
def fresh(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, ...]:
    """What a process of its own keeps of the demo bench, asked for nothing else: the oscillator's, the crystal's."""
    folder = tmp_path_factory.mktemp("fresh")
    paths = ("oscillator_2031-03-02.json", "crystal_2031-03-02.json")
    found = []
    for seed in "0", "1":
        home = folder / seed
        environment = {**os.environ, "PYTHONHASHSEED": seed}
        subprocess.run([sys.executable, "-c", _FRESH, str(DEMO), str(home)], check=True, env=environment)
        found.append(tuple((home / path).read_bytes() for path in paths))
    assert found[0] == found[1]
    return found[0]


@pytest.mark.parametrize("asked_before", [False, True])
def test_a_session_kept_again_is_one_file(asked_before: bool, fresh: tuple[bytes, ...], tmp_path: Path) -> None:
    session = aotf_lab.open_session(DEMO)
    if asked_before:
        _asked(session)
    first = keep(session, tmp_path, measured="2031-03-02")
    _asked(session)
    assert keep(session, tmp_path, measured="2031-03-02") == first
    assert sorted(p.name for p in tmp_path.iterdir()) == ["crystal_2031-03-02.json", "oscillator_2031-03-02.json"]
    assert tuple(path.read_bytes() for path in first) == fresh
