"""What session.toml says of the lines, against where their peaks were found."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal import Tuning
from aotf_lab.crystal.identity.exchanged import Exchange
from aotf_lab.crystal.identity.words import exchange_words
from aotf_lab.estimation.checks import z_limit
from aotf_lab.planning.doubts import label_checks
from aotf_lab.reading.session_file import LineFacts
from aotf_lab.session.contradictions.contradiction import Contradiction, ReadFile
from aotf_lab.session.session import Session

__all__ = ["against_lines", "exchanged_lines"]


def against_lines(session: Session, reads: Sequence[ReadFile]) -> Iterator[Contradiction]:
    """Yield scans far from where they are expected, labels that do not fit, twins, and lines without a file.

    Fits the scans and the tuning curve; where there is none, nothing is expected anywhere.
    """
    tuning: Tuning | None = session.part("tuning")
    yield from _exchanged(session)
    scanned: set[str | None] = set(exchanged_lines(session))
    if tuning is not None:
        for read in reads:
            for contradiction in _far(read, tuning, session.stated_nm):
                scanned.add(read.file.line)
                yield contradiction
        yield from _labels(session, tuning, scanned)
    yield from _twins(session)
    yield from _twin_rows(reads)
    yield from _without_file(session, reads)


def exchanged_lines(session: Session) -> tuple[str, ...]:
    """Return the lines whose labels were exchanged beyond doubt."""
    exchange: Exchange | None = session.part("exchanged")
    return () if exchange is None else exchange.peaks


def _exchanged(session: Session) -> Iterator[Contradiction]:
    exchange: Exchange | None = session.part("exchanged")
    if exchange is not None:
        peaks = ", ".join(f"scan {p} at {session.scans[p].centre_mhz.n:.6g} MHz" for p in exchange.peaks)
        yield Contradiction(
            exchange_words(exchange), "session.toml", peaks, "line of these scans, and wavelength_nm of these lines",
            "exchange line in the [[file]] of these scans, or wavelength_nm of these lines, whichever is wrong", True,
        )  # fmt: skip


def _far(read: ReadFile, tuning: Tuning, stated_nm: Mapping[str, UFloat]) -> Iterator[Contradiction]:
    line = next((ln for ln in read.facts.lines if ln.name == read.file.line), None)
    if read.file.purpose != "scan" or line is None or line.wavelength_nm is None or not read.has("frequency_mhz"):
        return
    low, high = tuning.range_nm
    if not low <= line.wavelength_nm <= high:
        return
    expected = tuning.frequency(stated_nm[line.name])
    frequency = read.readings.table["frequency_mhz"].to_numpy(dtype=float)
    first, last = float(np.nanmin(frequency)), float(np.nanmax(frequency))
    miss = max(first - expected.n, expected.n - last, 0.0)
    if miss > z_limit() * expected.s:
        near = _nearest(read, tuning, 0.5 * (first + last), line)
        yield Contradiction(
            "a scan far from where its line is expected", read.name, f"{first:.5g} to {last:.5g} MHz",
            f'line = "{line.name}", expected by the tuning curve at {expected.n:.5g} +- {expected.s:.2g} MHz',
            f"correct line{near}, or the wavelength of the [[line]]",
        )  # fmt: skip


def _nearest(read: ReadFile, tuning: Tuning, middle_mhz: float, stated: LineFacts) -> str:
    low, high = tuning.range_nm
    others = [
        (abs(tuning.frequency(ln.wavelength_nm).n - middle_mhz), ln.name)
        for ln in read.facts.lines
        if ln.name != stated.name and ln.wavelength_nm is not None and low <= ln.wavelength_nm <= high
    ]
    return f" (nearest is {min(others)[1]})" if others else ""


def _labels(session: Session, tuning: Tuning, told: set[str | None]) -> Iterator[Contradiction]:
    for check in tuning.fit.failed:
        if check.name == "line labels" and not check.detail.startswith("cannot be checked"):
            yield Contradiction(
                "a line does not fit the others", "session.toml", check.detail, "the wavelengths of the lines",
                "correct the [[line]] that is named, or the line of its scans",
            )  # fmt: skip
    for check in label_checks(session.facts.lines, session.found_nm):
        name = check.name.removeprefix("label of line ")
        if not check.passed and name not in told:
            yield Contradiction(
                "a line found far from its label", f"scans of line {name}", check.detail,
                f'wavelength and u_wavelength_nm of the [[line]] "{name}"',
                "correct the label, its u, or line of the scans",
            )  # fmt: skip


def _differ(a: LineFacts, b: LineFacts) -> bool:
    """Return whether two lines are stated so well that they are two."""
    if a.wavelength_nm is None or b.wavelength_nm is None:
        return False
    return abs(a.wavelength_nm - b.wavelength_nm) > z_limit() * float(np.hypot(a.u_wavelength_nm, b.u_wavelength_nm))


def _twins(session: Session) -> Iterator[Contradiction]:
    facts = {line.name: line for line in session.facts.lines}
    scans = session.part("scans") or {}
    for a, b in combinations([name for name in scans if name in facts], 2):
        gap = scans[a].centre_mhz - scans[b].centre_mhz
        if _differ(facts[a], facts[b]) and abs(gap.n) <= z_limit() * gap.s:
            yield Contradiction(
                "two lines at one frequency", f"scans of lines {a} and {b}",
                f"peaks at {scans[a].centre_mhz.n:.6g} and {scans[b].centre_mhz.n:.6g} MHz, {gap.s:.2g} MHz uncertain",
                f"{facts[a].stated_wavelength_nm:g} nm and {facts[b].stated_wavelength_nm:g} nm",
                "one of the files may be named for the wrong line, or used twice",
            )  # fmt: skip


def _twin_rows(reads: Sequence[ReadFile]) -> Iterator[Contradiction]:
    for read in reads:
        if read.file.purpose != "lines" or not read.has("frequency_mhz", "wavelength_nm"):
            continue
        table = read.readings.table
        u_f, u_nm = (np.nan_to_num(table[c].to_numpy(dtype=float)) for c in ("u_frequency_mhz", "u_wavelength_nm"))
        f, nm = (table[c].to_numpy(dtype=float) for c in ("frequency_mhz", "wavelength_nm"))
        for i, j in combinations(range(len(table)), 2):
            apart = abs(nm[i] - nm[j]) > z_limit() * float(np.hypot(u_nm[i], u_nm[j]))
            if apart and abs(f[i] - f[j]) <= float(np.hypot(u_f[i], u_f[j])):
                yield Contradiction(
                    "two lines at one frequency", f"{read.readings.place(i)}, {read.readings.place(j)}",
                    f"{f[i]:.6g} and {f[j]:.6g} MHz", f"{nm[i]:.2f} and {nm[j]:.2f} nm in vacuum",
                    "correct the row that was copied",
                )  # fmt: skip


def _without_file(session: Session, reads: Sequence[ReadFile]) -> Iterator[Contradiction]:
    tables = [r.readings.table for r in reads if r.file.purpose == "lines"]
    named = {file.line for file in session.facts.files if file.purpose in ("scan", "efficiency")}
    named |= {str(label) for table in tables if "label" in table.columns for label in table["label"]}
    for line in session.facts.lines:
        if line.name not in named:
            use = "it does not help to calibrate the crystal" if line.use == "anchor" else "it cannot be found"
            yield Contradiction(
                "a line of which there is no file", "session.toml", "no scan, no efficiency, no row of a table",
                f'[[line]] "{line.name}", use = "{line.use}"', f"add its [[file]]: without one {use}",
            )  # fmt: skip
