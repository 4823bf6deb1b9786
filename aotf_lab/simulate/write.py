"""Write a session of the invented bench into a folder: raw files and session.toml, never the truth."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from aotf_lab.errors import Said, SessionError
from aotf_lab.reading.atomic import write_text_atomically
from aotf_lab.reading.session_file import FILE_NAME
from aotf_lab.simulate.faults import NO_FAULTS, Faults
from aotf_lab.simulate.raw_files import raw_files
from aotf_lab.simulate.session_text import session_text
from aotf_lab.simulate.trace import trace_counts_mhz
from aotf_lab.simulate.truth import SKERRY, BenchTruth

__all__ = ["DEMO_SEED", "simulate_session", "write_session"]

DEMO_SEED = 20
"""The seed of the demo session in data/demo."""


def simulate_session(
    folder: str | os.PathLike[str],
    seed: int = DEMO_SEED,
    *,
    truth: BenchTruth = SKERRY,
    faults: Faults = NO_FAULTS,
) -> Path:
    """Write the raw files of one measuring session and its session.toml into ``folder``; return the folder.

    The folder is made when it is not there. ``seed`` draws the noise, ``truth`` is the bench, ``faults`` what went
    wrong on the day. The same arguments write the same bytes. Raises ``SessionError`` when a file that this would not
    write itself lies there as raw data would, or when the folder cannot be written.
    """
    files = raw_files(seed, truth, faults)
    return write_session(folder, files, session_text(files, truth, faults, trace_counts_mhz(seed, truth)))


def write_session(folder: str | os.PathLike[str], files: Mapping[str, str], facts: str) -> Path:
    """Write raw ``files`` (name -> text) and session.toml (``facts``) into ``folder``; return it. Raises as above."""
    home = Path(folder)
    strangers = sorted(p.name for p in home.glob("*.csv") if p.name not in files)
    if strangers:
        raise SessionError(
            "raw files of somebody else", where=home.name, found=Said(", ".join(map(repr, strangers))),
            allowed="a new folder, or one with simulated files only", cure="name another folder; nothing was written",
        )  # fmt: skip
    try:
        home.mkdir(parents=True, exist_ok=True)
        for name, text in {**files, FILE_NAME: facts}.items():
            write_text_atomically(home / name, text)
    except OSError as error:
        raise SessionError(
            "a folder that cannot be written", where=home.name, found=Said(error.strerror or type(error).__name__),
            allowed="a folder in which files may be made", cure="name another folder",
        ) from None  # fmt: skip
    return home
