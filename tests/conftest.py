"""The demo session, opened once for all tests that only read it."""

from __future__ import annotations

import pytest

import aotf_lab
from tests.house import ROOT

DEMO = ROOT / "data" / "demo" / "skerry"


@pytest.fixture(scope="session")
def demo() -> aotf_lab.Session:
    """The demo bench's session."""
    return aotf_lab.open_session(DEMO)
