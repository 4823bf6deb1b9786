"""The chain from the scope's screen to the watts in the load: one named term for each link.

power of the fundamental = (volts^2 - noise^2 - DC^2) / load * probe^2 * 10^(pad / 10) * input * fall / harmonics

Nearly all of it is common to every reading of a bench, so a ratio of two powers is known much better than either.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import AotfLabError, Said
from aotf_lab.estimation.causes import CommonError
from aotf_lab.estimation.wrapped import text_lines
from aotf_lab.physics.rf import attenuation_factor, single_pole_factor
from aotf_lab.reading.accuracy import shared
from aotf_lab.reading.harmonic_content import ReadingKind
from aotf_lab.reading.instruments import POWER_SCALE_UNSTATED, Instruments

__all__ = ["OPEN_INPUT", "PER_DB", "Chain", "RollOffError", "Term", "chain_terms", "fixed_factor", "scale_errors"]

PER_DB = float(np.log(10.0) / 10.0)
"""Relative change of a power per dB."""

OPEN_INPUT = 0.25
"""Power over what an open input behind a pad seems to show: it stands at twice the volts of a matched one."""


@dataclass(frozen=True)
class RollOffError(CommonError):
    """The error of the correction for bandwidth: it grows with frequency; ``sensitivity`` is that of the readings."""

    bandwidth_mhz: float = float("inf")

    def at(self, frequency_mhz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the sensitivity (n,) at ``frequency_mhz`` (n,): which share of the power is correction."""
        return 1.0 - 1.0 / single_pole_factor(frequency_mhz, self.bandwidth_mhz)


@dataclass(frozen=True)
class Term:
    """One link: the ``factor`` by which it changes power, its relative standard uncertainty, and how that is known."""

    name: str
    factor: float
    u_relative: float
    known: str


@dataclass(frozen=True)
class Chain:
    """All links at one frequency; iterate it, or ask for one by name."""

    frequency_mhz: float
    kind: ReadingKind
    terms: tuple[Term, ...]

    @property
    def factor(self) -> float:
        """Power of the fundamental (W) per V^2 on the screen: the product of the links."""
        return float(np.prod([t.factor for t in self.terms]))

    @property
    def u_relative(self) -> float:
        """Relative standard uncertainty of power that every reading shares: the links in squares."""
        return float(np.sqrt(sum(t.u_relative**2 for t in self.terms)))

    def __iter__(self) -> Iterator[Term]:
        return iter(self.terms)

    def __len__(self) -> int:
        return len(self.terms)

    def __getitem__(self, name: str) -> Term:
        for term in self.terms:
            if term.name == name:
                return term
        names = ", ".join(t.name for t in self.terms)
        raise AotfLabError("no such link of the chain", found=name, allowed=names, cure="use a listed name")

    def __str__(self) -> str:
        rows = [(t.name, f"{t.factor:.4g}", f"{100 * t.u_relative:.2g} %", t.known) for t in self.terms]
        rows.append(("all", f"{self.factor:.4g} W per V^2", f"{100 * self.u_relative:.2g} %", "common to all readings"))
        wide = [max(len(row[k]) for row in rows) for k in range(3)]
        head = f"from volts {self.kind} on the screen to watts of the fundamental, at {self.frequency_mhz:g} MHz"
        table = ("  ".join([*(c.ljust(w) for c, w in zip(row, wide, strict=False)), row[3]]) for row in rows)
        return text_lines([head, *table])

    def _repr_html_(self) -> str:
        heads = "".join(f"<th>{h}</th>" for h in ("link", "factor on power", "u", "how it is known"))
        cells = ((t.name, f"{t.factor:.4g}", f"{100 * t.u_relative:.2g} %", t.known) for t in self.terms)
        rows = ("".join(f"<td>{escape(cell)}</td>" for cell in row) for row in cells)
        return f"<table><tr>{heads}</tr>{''.join(f'<tr>{row}</tr>' for row in rows)}</table>"


def fixed_factor(instruments: Instruments) -> float:
    """Return the factor of probe, pad and input on power: what neither frequency nor wave changes."""
    scope = instruments.scope
    probe = 1.0 if scope.probe is None else scope.probe
    terminated = OPEN_INPUT if scope.open_behind_pad else 1.0
    return probe**2 * float(attenuation_factor(scope.pad_db or 0.0)) * terminated


def scale_errors(
    instruments: Instruments, frequency_mhz: NDArray[np.float64] | None, *, volts: bool = True
) -> tuple[CommonError, ...]:
    """Return the errors that all powers from the scope share, but for noise and harmonics.

    ``frequency_mhz`` (n,) are those of the readings, None where unknown: the fall of the response is
    then not corrected. ``volts`` is False for a level in dBm, which is a power already.
    """
    pole = instruments.scope.bandwidth_mhz
    common = shared(instruments, "scope gain", "rf_power_w", sensitivity=2.0)
    common += shared(instruments, "pad", "rf_power_w", sensitivity=PER_DB)
    common += shared(instruments, "load", "rf_power_w", sensitivity=-1.0) if volts else ()
    common += shared(instruments, "mismatch", "rf_power_w")
    common += shared(instruments, POWER_SCALE_UNSTATED, "rf_power_w")
    fall = instruments.causes["scope bandwidth"]
    if fall is None:
        return common
    if pole is None:
        return (*common, CommonError("scope bandwidth", "rf_power_w", "relative", fall))
    if frequency_mhz is None:  # nothing was corrected: the error is as large as the assumed 10 %
        return (*common, CommonError("scope bandwidth", "rf_power_w", "relative", fall, 0.10 / fall.s))
    error = RollOffError("scope bandwidth", "rf_power_w", "relative", fall, 1.0, pole)
    mean = float(np.mean(error.at(frequency_mhz)))
    return (*common, RollOffError("scope bandwidth", "rf_power_w", "relative", fall, mean, pole))


def chain_terms(
    instruments: Instruments, frequency_mhz: float, kind: ReadingKind = "rms", *, level_v: float | None = None
) -> Chain:
    """Return the links of the chain at ``frequency_mhz`` for volts ``kind`` on the screen, each with its u.

    What noise and DC add depends on the reading: ``level_v`` (V rms on the screen) says at which.

    >>> from aotf_lab.reading import Scope
    >>> chain_terms(Instruments(scope=Scope(probe=1, pad_db=30, bandwidth_mhz=200)), 60.0)["pad"].factor
    1000.0
    """
    scope, at = instruments.scope, np.array([frequency_mhz])
    errors = {e.name: abs(e.sensitivity) * float(e.variable.s) for e in scale_errors(instruments, at)}
    excess, spread = instruments.harmonic_excess(kind, at), instruments.causes[f"harmonics ({kind})"]
    pole = scope.bandwidth_mhz
    fall = 1.0 if pole is None else float(single_pole_factor(frequency_mhz, pole))
    load, source = scope.reflections
    unknown = errors.get(POWER_SCALE_UNSTATED, 0.0)
    terms = (
        Term("load", 1.0 / instruments.load_ohm, errors.get("load", 0.0), _known(scope.load_ohm, scope.u_load_ohm)),
        Term("scope gain", 1.0, errors.get("scope gain", 0.0), _known(scope.gain_percent)),
        Term("probe", (scope.probe or 1.0) ** 2, 0.0 if scope.probe else unknown, _known(scope.probe)),
        Term(
            "pad", float(attenuation_factor(scope.pad_db or 0.0)),
            errors.get("pad", 0.0) if scope.pad_db is not None else unknown, _known(scope.pad_db, scope.u_pad_db),
        ),
        Term("input", OPEN_INPUT if scope.open_behind_pad else 1.0, 0.0, _input(instruments)),
        _added(instruments, kind, level_v),
        Term("scope bandwidth", fall, errors.get("scope bandwidth", 0.0), _fall(instruments, fall)),
        Term("harmonics", 1.0 / float(excess.factor[0]), 0.0 if spread is None else float(spread.s), excess.words),
        Term(
            "mismatch", 1.0, errors.get("mismatch", 0.0),
            f"reflections {load:.2g} and {source:.2g}, any phase; "
            + _known(scope.load_return_loss_db, scope.source_return_loss_db),
        ),
    )  # fmt: skip
    return Chain(frequency_mhz, kind, terms)


def _known(*values: float | None) -> str:
    if all(v is None for v in values):
        return "assumed: not stated"
    return "stated" if all(v is not None for v in values) else "stated in part, the rest assumed"


def _input(instruments: Instruments) -> str:
    scope = instruments.scope
    if scope.open_behind_pad:
        return "stated: open behind a pad, so it shows twice the volts"
    if not scope.pad_db:
        return "across the load, or the load itself: no factor"
    return "stated: terminated behind the pad" if scope.input_ohm else "assumed: terminated behind the pad"


def _added(instruments: Instruments, kind: ReadingKind, level_v: float | None) -> Term:
    scope, name = instruments.scope, "noise and DC"
    noise, dc = scope.added_v
    if kind != "rms":
        return Term(name, 1.0, 0.0, "not subtracted from volts peak to peak")
    if noise == dc == 0.0:
        return Term(name, 1.0, 0.0, "none stated (AC-coupled, noise far below the level)")
    words = f"{1e3 * noise:g} mV rms of noise and {1e3 * dc:g} mV of DC subtracted in squares"
    if level_v is None:
        return Term(name, 1.0, 0.0, f"{words}: more the lower the level")
    added = float(np.hypot(noise, dc))
    left = level_v**2 - added**2
    if left <= 0:
        raise AotfLabError(
            "a level of noise and DC alone", found=Said(f"{1e3 * level_v:g} mV rms"),
            allowed=f"above {1e3 * added:g} mV rms", cure="raise the level, or take a smaller pad",
        )  # fmt: skip
    u = 2.0 * added * scope.u_added_v / left
    return Term(name, left / level_v**2, u, words)


def _fall(instruments: Instruments, fall: float) -> str:
    pole = instruments.scope.bandwidth_mhz
    if pole is None:
        return "assumed: bandwidth not stated"
    share = "stated" if instruments.scope.u_bandwidth_percent is not None else "assumed: none to whole"
    return f"single pole at {pole:g} MHz: volts x {fall**-0.5:.3f}, power x {1 / fall:.3f}; u {share}"
