"""The demo session, opened once for all tests that only read it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

import aotf_lab
from tests.house import ROOT

DEMO = ROOT / "data" / "demo" / "skerry"


@pytest.fixture(scope="session")
def demo() -> aotf_lab.Session:
    """The demo bench's session."""
    return aotf_lab.open_session(DEMO)


@pytest.fixture
def log(tmp_path: Path) -> Callable[..., Path]:
    """Write a raw file: ``log(text, name="log.csv") -> path``."""

    def write(text: str, name: str = "log.csv") -> Path:
        (tmp_path / name).write_text(text, encoding="utf-8")
        return tmp_path / name

    return write


def flat(result: object) -> str:
    """The text of a result on one line: a sentence may go on in the next."""
    return " ".join(str(result).split())
