"""A session folder: session.toml and raw files in, every curve and set-point out."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.given import given
from aotf_lab.reading.session_file import LineFacts, load_session_file
from aotf_lab.reading.session_limits import NO_LIMITS
from aotf_lab.session.timing import SessionTiming

__all__ = ["Session", "given_session", "open_session"]

_WHERE_MEASURED = {
    "waveforms": "trace",
    "level": "level",
    "match": "match",
    "safe_supply": "level",
    "warm_up": "warm_up",
    "stability": "warm_up",
    "pushing": "pushing",
}
"""Part of a session that nobody misses -> the purpose of the files that it is computed from."""

_LIGHT_MEASURED = {
    "hunt": "hunt",
    "spectrum": "spectrum",
    "leakage": "leakage",
    "crosstalk": "leakage",
    "angles": "spots",
    "polarisation": "polarisation",
    "beam_size": "beam_size",
    "edge": "edge",
    "modulation_depth": "modulation_depth",
}
"""The same for the parts that need the crystal's curves."""


@dataclass(frozen=True)
class Session(SessionTiming):
    """An open session; every result is computed when it is first asked for, and kept.

    ``facts`` is what session.toml says. ``vco``, ``tuning`` and ``efficiency`` raise when they cannot be
    computed; ``curves`` leaves them out. ``scans`` holds those that could be fitted. ``troubles`` says
    what is missing, and why.
    """

    def __str__(self) -> str:
        return rows_text(f"Session {self.facts.name}", self._rows)

    def _repr_html_(self) -> str:
        return rows_html(f"Session {self.facts.name}", self._rows)

    @property
    def _rows(self) -> tuple[tuple[str, str], ...]:
        purposes = Counter(f.purpose for f in self.facts.files)
        return (
            ("folder", str(self.facts.folder)),
            ("lines", ", ".join(map(_line_words, self.facts.lines)) or "none stated"),
            ("raw files", ", ".join(f"{n} {purpose}" for purpose, n in purposes.items())),
            ("to be computed", ", ".join(self.parts)),
        )

    @property
    def parts(self) -> tuple[str, ...]:
        """What is to be computed from this session, in the order in which one part needs the other."""
        measured = [p for p, purpose in _WHERE_MEASURED.items() if self.files(purpose)]
        if self.facts.crystal.rated_rf_power_w is None and "safe_supply" in measured:
            measured.remove("safe_supply")
        light = [p for p, purpose in _LIGHT_MEASURED.items() if self.files(purpose)]
        if len({f.line for f in self.files("scan")}) > 1:
            light.append("identity")
        if "safe_supply" in measured and self.files("efficiency") and self.files("oscillator"):
            light += ["one_drive", "park"]
        if self.files("edge") and self.files("scan"):
            light.append("sweep")
        if self.files("oscillator"):
            stated = self.facts.limits.generator != NO_LIMITS.generator
            light += ["levels"] * stated + ["plays"] * bool(self.facts.plays) + ["advice"] * bool(self.files("scan"))
        parts = ("all_readings", "vco", *measured, "scans", "tuning", "efficiency", "modulators", *light)
        return tuple(part for part in parts if part not in self.absent)

    @property
    def troubles(self) -> Mapping[str, AotfLabError]:
        """What could not be computed, and why: part -> error; what fails for one reason is named once, files last."""
        for part in self.parts:
            self.attempt(part)
        found: dict[str, str] = {}
        for part in sorted(self._troubles, key=lambda p: p.startswith("file ")):
            found.setdefault(str(self._troubles[part]), part)
        return {p: e for p, e in self._troubles.items() if found[str(e)] == p}


def _line_words(line: LineFacts) -> str:
    return f"{line.name} {'to be found' if line.wavelength_nm is None else f'{line.wavelength_nm:.2f} nm'}"


def given_session(value: object) -> Session:
    """Return ``value``. Raises ``AotfLabError`` when it is no open session, but the path of one, say."""
    return given(value, Session, "session", "an open session", "open its folder first: open_session(folder)")


def open_session(folder: str | os.PathLike[str]) -> Session:
    """Open the session in ``folder`` and return it; raw files are read when they are needed.

    Raises ``SessionError`` when session.toml is missing, contradictory or names files that are not
    there.
    """
    return Session(load_session_file(folder))
