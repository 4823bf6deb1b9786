"""Sessions of the invented bench with one fault each: every failed check, with what did not change computed once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from aotf_lab.crystal import Scan, fit_scan
from aotf_lab.driver.waveform import Waveform
from aotf_lab.estimation import Check, new_cause
from aotf_lab.session.crystal import U_TIME_CONSTANT
from aotf_lab.session.session import Session, open_session
from aotf_lab.simulate import NO_FAULTS, Faults, simulate_session
from aotf_lab.simulate.raw_files import efficiency_files, scan_files, sweep_text
from aotf_lab.simulate.session_text import session_text


@dataclass(frozen=True)
class Switch:
    """A fault, the check that is its own (wing, name), and whether its fits are slow."""

    name: str
    faults: Faults
    own: tuple[str, str]
    slow: bool = False


EXCHANGED = ("session", "exchanged labels")
SWITCHES = (
    Switch("mistyped_anchor", Faults(mistyped_anchor=True), ("tuning", "line labels"), slow=True),
    Switch("exchanged_labels D, E (anchors)", Faults(exchanged_labels=("D", "E")), EXCHANGED),
    Switch("exchanged_labels A, C (diodes)", Faults(exchanged_labels=("A", "C")), EXCHANGED),
    Switch("exchanged_labels A, D (diode, anchor)", Faults(exchanged_labels=("A", "D")), EXCHANGED),
    Switch("exchanged_labels F, G (neighbours)", Faults(exchanged_labels=("F", "G")), EXCHANGED),
    Switch("doubled_counts", Faults(doubled_counts=(7, 8, 9)), ("vco", "counts")),
    Switch("cold_start", Faults(cold_start=True), ("vco", "drift with time")),
    Switch("dial_voltages", Faults(dial_voltages=True), ("vco", "up/down difference")),
    Switch("one_way_sweep", Faults(one_way_sweep=True), ("vco", "reference voltage")),
    Switch("one_way_scans", Faults(one_way_scans=True), ("scan", "lag")),
    Switch("clipped_scan D", Faults(clipped_scan="D"), ("scan", "clipped"), slow=True),
    Switch("second_polarisation D", Faults(second_polarisation="D"), ("scan", "one peak"), slow=True),
    Switch("wandering_laser D", Faults(wandering_laser="D"), ("scan", "wander"), slow=True),
)
BASELINE = Switch("none", NO_FAULTS, ("", ""))
TOO_LOW = ("efficiency B", "reach")
"""Line B is driven to 0.36 of P_sat by the plan of the bench, and the check says so with or without a fault."""

_Failed = frozenset[tuple[str, str]]


def texts(seed: int, faults: Faults) -> dict[str, str]:
    """Return the raw files that are looked at here, by name."""
    return {
        "vco_warm.csv": sweep_text(seed, faults=faults),
        **dict(scan_files(seed, faults=faults)),
        **dict(efficiency_files(seed)),
    }


@dataclass(frozen=True)
class Bench:
    """The faultless session of a seed: its files and its results."""

    seed: int
    waves: Mapping[str, Waveform]
    files: Mapping[str, str]
    session: Session

    def failed(self, switch: Switch) -> _Failed:
        """Return the failed checks with the switch on; what rests on unchanged files is taken from this session."""
        files = texts(self.seed, switch.faults)
        with TemporaryDirectory() as folder:
            session = opened(Path(folder), files, switch.faults, self.waves)
            same = {name for name, text in files.items() if self.files.get(name) == text}
            if "vco_warm.csv" in same:
                session.__dict__["vco"] = self.session.vco
            kept = {
                n: s for n, s in self.session.scans.items() if {f.path.name for f in session.files("scan", n)} <= same
            }
            if switch.faults.one_way_scans:
                kept = {}
            session.__dict__["scans"] = scans(session, kept, self.session.__dict__["lag of the head"])
            if not switch.faults.mistyped_anchor:  # efficiency rests on its own files and the stated wavelengths
                session.__dict__["efficiency"] = self.session.efficiency
                for part in ("tuning", "identity") if len(kept) == len(session.scans) else ():
                    session.__dict__[part] = getattr(self.session, part)
            return frozenset(failures(session))


def bench(seed: int, waves: Mapping[str, Waveform]) -> Bench:
    """Return the faultless bench of ``seed``."""
    files = texts(seed, NO_FAULTS)
    with TemporaryDirectory() as folder:
        session = opened(Path(folder), files, NO_FAULTS, waves)
        seconds = session.facts.instruments.power_meter.time_constant_s
        assert seconds is not None
        lag = new_cause("power meter time constant", U_TIME_CONSTANT * seconds, seconds)
        session.__dict__["lag of the head"] = lag
        session.__dict__["scans"] = scans(session, {}, lag)
        set(failures(session))
    return Bench(seed, waves, files, session)


def opened(folder: Path, files: Mapping[str, str], faults: Faults, waves: Mapping[str, Waveform]) -> Session:
    """Return the session of these raw files, with the waveforms of another one."""
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    (folder / "session.toml").write_text(session_text(files, faults=faults), encoding="utf-8")
    session = open_session(folder)
    session.__dict__["waveforms"] = waves
    return session


def waves_of(seed: int) -> Mapping[str, Waveform]:
    """Return the waveforms of one whole simulated session."""
    with TemporaryDirectory() as folder:
        return open_session(simulate_session(Path(folder) / "s", seed)).waveforms


def scans(session: Session, kept: Mapping[str, Scan], lag: object) -> dict[str, Scan]:
    """Return the scan of each line, fitted unless it is ``kept``; the head's lag is one cause for all."""
    lines = [n for n in dict.fromkeys(f.line for f in session.files("scan")) if n]

    def fitted(n: str) -> Scan:
        return fit_scan(session.readings("scan", n), line=n, time_constant_s=lag)  # type: ignore[arg-type]

    return session._each({n: n for n in lines}, lambda n: kept[n] if n in kept else fitted(n), "scan of line")


def failures(session: Session) -> Iterator[tuple[str, str]]:
    """Yield (wing, name) of each failed check, and of each part that could not be computed and whose cause is not told.

    A refusal of the tuning curve that says what the failed check "exchanged labels" says is that one check.
    """
    found: list[tuple[str, Check]] = []
    for part in ("vco", "scans", "tuning", "efficiency", "identity"):
        session.attempt(part)
    parts = session.__dict__
    for part in ("vco", "tuning"):
        found += [(part, c) for c in parts[part].fit.checks] if part in parts else []
    found += [("scan", c) for s in parts.get("scans", {}).values() for c in s.fit.checks]
    if "efficiency" in parts:
        found += [(f"efficiency {n}", c) for n, e in parts["efficiency"].own.items() for c in e.fit.checks]
        found += [("efficiency", c) for c in parts["efficiency"].fit.checks]
    found += [("session", c) for c in session.checks]
    failed = [(part, c) for part, c in found if not c.passed]
    yield from ((part, c.name) for part, c in failed)
    told = [c.detail for _, c in failed if c.name == "exchanged labels"]
    for part, error in session._troubles.items():
        if not any(detail in str(error) for detail in told):
            yield "refused", part
