"""The demo session, opened once for all tests that only read it."""

from __future__ import annotations

import pytest

from aotf_lab.session import Session, open_session
from tests.house import ROOT

DEMO = ROOT / "data" / "demo" / "skerry"


@pytest.fixture(scope="session")
def demo() -> Session:
    """The demo bench's session."""
    return open_session(DEMO)
