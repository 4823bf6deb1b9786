"""The packaged lists: what can be read, and what can take light away."""

from __future__ import annotations

import tomllib
from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
from scipy import special
from uncertainties import ufloat

__all__ = ["NOTHING", "Cause", "Reading", "causes", "readings"]


@dataclass(frozen=True)
class Reading:
    """A reading that can be taken: what it is, what to do, how long it takes, and its usual u.

    ``u`` is in ``unit``; where ``relative`` is True it is a share of the value.
    """

    key: str
    name: str
    unit: str
    do: str
    minutes: float
    u: float
    relative: bool

    def u_of(self, value: float) -> float:
        """Return the usual standard uncertainty of a reading of this value."""
        return max(abs(value) * self.u, 1e-6) if self.relative else self.u


@dataclass(frozen=True)
class Cause:
    """Something that can take light away, by one change of the bench; its size is fitted between ``low`` and ``high``.

    ``branches`` are the ways in which the same fault can act (one change each), of which the likelier is taken.
    ``wander`` is the standard deviation of that change on a healthy bench. ``needs`` and ``needs_any`` are stored
    numbers without which nothing can be said of it. ``reading`` is one that shows the change itself.
    """

    key: str
    branches: tuple[str, ...]
    low: float
    high: float
    wander: float
    shown: str
    less: str
    more: str
    cure: str
    needs: tuple[str, ...] = ()
    needs_any: tuple[str, ...] = ()
    reading: str = ""

    @property
    def fits(self) -> bool:
        """Whether the cause has a size to be fitted."""
        return self.low < self.high

    def missing(self, stored: Collection[str]) -> str:
        """Return which stored numbers are missing, in words; empty where the cause can be judged."""
        absent = [n for n in self.needs if n not in stored]
        if self.needs_any and not any(n in stored for n in self.needs_any):
            absent.append(" or ".join(self.needs_any))
        return ", ".join(absent)

    def name(self, size: float) -> str:
        """Return what happened, in words."""
        return self.less if size < 0 else self.more

    def sized(self, size: float, u: float) -> str:
        """Return the size in words, with its u.

        >>> causes()["before"].sized(-1.2, 0.02)
        "30.12(60) % passes an edge 0.13 of the beam's diameter past its middle"
        """
        if not self.fits:
            return "nothing to fit"
        if self.shown.startswith("share"):
            share = float(np.exp(size))
            left = _digits(100 * share, 100 * share * u)
            if self.shown == "share":
                return f"{left} % of what it was"
            edge = _edge(share)
            side = "past" if edge > 0 else "short of"
            return f"{left} % passes an edge {abs(edge):.2f} of the beam's diameter {side} its middle"
        if self.shown == "factor":
            return f"{_digits(float(np.exp(size)), float(np.exp(size)) * u)} times as wide"
        if self.shown == "of the stored light":
            return f"{_digits(100 * size, 100 * u)} % of the stored light"
        return f"{_digits(size, u, sign=self.low < 0)} {self.shown}"


NOTHING = Cause("nothing", (), 0.0, 0.0, 0.0, "", "nothing is wrong", "nothing is wrong", "use the bench")


def _digits(value: float, u: float, *, sign: bool = False) -> str:
    flag = "+" if sign else ""
    return f"{ufloat(value, u):{flag}.2uS}" if 0 < u < np.inf else f"{value:{flag}.3g}"


def _edge(share: float) -> float:
    """Return where an edge stands that leaves ``share`` of a Gaussian beam, in 1/e^2 diameters from its middle.

    The inverse of ``physics.beams.edge_share``.
    """
    return float(special.erfcinv(2.0 * min(max(share, 1e-12), 1.0 - 1e-12))) / float(np.sqrt(8.0))


def _table(name: str) -> dict[str, dict[str, Any]]:
    return tomllib.loads((files("aotf_lab.record.fault_tree") / f"{name}.toml").read_text(encoding="utf-8"))


@lru_cache
def readings() -> dict[str, Reading]:
    """Return key -> ``Reading``, in the order of the packaged list.

    >>> readings()["dark_mw"].minutes
    0.5
    """
    return {
        key: Reading(
            key, row["name"], row["unit"], row["do"], row["minutes"], row["u_relative" if "u_relative" in row else "u"],
            "u_relative" in row,
        )
        for key, row in _table("readings").items()
    }  # fmt: skip


@lru_cache
def causes() -> dict[str, Cause]:
    """Return key -> ``Cause``, in the order of the packaged list.

    >>> causes()["box"].missing({"fwhm_mhz"})
    'mhz_per_k'
    """
    return {
        key: Cause(
            key, (*row["changes"], *row.get("or_changes", ())), row["low"], row["high"], row.get("wander", 0.0),
            row["shown"], row["less"], row["more"], row["cure"], tuple(row.get("needs", ())),
            tuple(row.get("needs_any", ())), row.get("reading", ""),
        )
        for key, row in _table("causes").items()
    }  # fmt: skip
