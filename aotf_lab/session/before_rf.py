"""Before RF goes on: how far a session's bench may be driven, and what that does to each of its parts."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from aotf_lab.errors import AotfLabError
from aotf_lab.planning.damage import BenchLoad, Strain, strains
from aotf_lab.planning.pad_slip import PadSlip
from aotf_lab.planning.safe_drive import true_power, upper_bound
from aotf_lab.planning.safe_start import SafeStart, safe_start
from aotf_lab.reading.instruments import POWER_SCALE_UNSTATED
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.session_file import SessionFile
from aotf_lab.session.checked import SessionCheck, check_session
from aotf_lab.session.session import Session

__all__ = ["BeforeRf", "before_rf"]

_LEVEL = "level"
_WITH_CRYSTAL = "efficiency"


@dataclass(frozen=True)
class BeforeRf:
    """What is known before RF goes on; no number in it is a drive above the safe one.

    ``start`` is None where ``withheld`` says why no supply can be called safe. ``strains`` are those at the highest
    power that the safe supply makes (where there is none: at the most that readings and papers show), ``turned_up``
    those at that most, in the same order. ``driven_above`` names files whose crystal was driven above the safe supply.
    ``band_mhz`` is where the level was measured, ``oscillator_mhz`` where the oscillator goes, ``pad`` whether the
    amplifier bears out pad and probe.
    """

    facts: SessionFile
    start: SafeStart | None
    withheld: str
    load: BenchLoad
    strains: tuple[Strain, ...]
    turned_up: tuple[Strain, ...]
    driven_above: tuple[str, ...] = ()
    doubted: tuple[str, ...] = ()
    band_mhz: tuple[float, float] | None = None
    oscillator_mhz: tuple[float, float] | None = None
    pad: PadSlip | None = None

    @property
    def damaged(self) -> tuple[Strain, ...]:
        """What would take more than it may."""
        return tuple(s for s in self.strains if s.verdict == "beyond")

    @property
    def at_limit(self) -> tuple[Strain, ...]:
        """What reads at its limit, as far as its instrument tells."""
        return tuple(s for s in self.strains if s.verdict == "at the limit")

    @property
    def trusts_pad(self) -> bool:
        """Whether a supply is called safe by a pad and a probe that nothing stated of the amplifier bears out."""
        return self.start is not None and (self.pad is None or self.pad.verdict != "excluded")

    @property
    def may_switch_on(self) -> bool:
        """Whether nothing is known to be damaged, and a supply to be safe."""
        return self.start is not None and not self.damaged


def before_rf(session: Session, checked: SessionCheck | None = None) -> BeforeRf:
    """Return what must be known before RF goes on. Raises nothing of the data: what cannot be computed is said.

    ``checked`` is the check of the session, where that was made already.
    """
    facts = session.facts
    start, withheld = _start(session, checked)
    most = _most_power_w(session)
    reached = most if start is None else _reached_w(start)
    control, light = _range_of(session, "oscillator", "drive_v"), _light_mw(session)
    scope, limits = facts.instruments.scope, facts.limits
    volt = facts.instruments.voltmeter.stated_u_v
    load = BenchLoad(reached, control, light, (0.0, 0.0) if control is None else (volt(control[0]), volt(control[1])))
    usual = strains(load, scope, limits)
    turned_up = strains(replace(load, rf_power_w=_larger(most, reached)), scope, limits)
    at_most = {(s.part, s.floor): s for s in turned_up}
    safe_v = None if start is None else start.safe.supply_v
    return BeforeRf(
        facts, start, withheld, load, usual,
        tuple(at_most[s.part, s.floor] for s in usual), _driven_above(session, safe_v), _doubted(session, start),
        None if start is None else start.safe.band_mhz, _range_of(session, "oscillator", "frequency_mhz"),
        session.pad_slip,
    )  # fmt: skip


def _reached_w(start: SafeStart) -> float:
    """Return the most power (W) that the safe supply makes: the limit, unless the amplifier gives less."""
    safe = start.safe
    return safe.bound_w if safe.bound_w < 0.99 * safe.limit_w else safe.limit_w


def _larger(first: float | None, second: float | None) -> float | None:
    known = [value for value in (first, second) if value is not None]
    return max(known, default=None)


def _start(session: Session, checked: SessionCheck | None) -> tuple[SafeStart | None, str]:
    """Return with which supply to start, or None and why there is none."""
    facts = session.facts
    rated, scope = facts.crystal.rated_rf_power_w, facts.instruments.scope
    if rated is None:
        return None, "[crystal] rated_rf_power_w is not stated"
    if not session.files(_LEVEL):
        return None, "RF power against the supply was not measured (no file with purpose 'level')"
    if not facts.instruments.power_scale_stated:
        missing = [key for key in ("pad_db", "probe") if getattr(scope, key) is None]
        return None, f"[instrument.scope] {' and '.join(missing)} not stated: RF power may be wrong by any factor"
    pad = session.pad_slip
    if pad is not None and pad.verdict == "likely":
        return None, f"by the readings {pad.why}: look at pad_db, probe and input_ohm of [instrument.scope]"
    grave = _grave(session, checked)
    if grave:
        return None, f"the readings of level do not hold together: {grave[0]} ('aotf-lab check' tells more)"
    try:
        start = safe_start(session.level, session.safe_supply, facts.amplifier.supply_a)
    except AotfLabError as error:
        return None, f"no supply can be called safe: {error.what}; {error.cure}"
    return start, ""


def _grave(session: Session, checked: SessionCheck | None) -> tuple[str, ...]:
    """Return what makes readings of level, or those beside them, unusable."""
    names = [f.path.name for f in session.facts.files if f.purpose in (_LEVEL, _WITH_CRYSTAL)]
    files = tuple(f for f in session.facts.files if f.purpose in (_LEVEL, _WITH_CRYSTAL, "oscillator"))
    found = checked or check_session(Session(replace(session.facts, files=files)))
    errors = [f"{f.name} cannot be read" for f in found.files if f.error is not None and f.purpose == _LEVEL]
    entries = [(e, f"{e.where}: {e.what}") for e in found.suspicions if e.unusable]
    against = [(e, f"{e.place}: {e.what}") for e in found.contradictions if e.unusable]
    said = [words for entry, words in (*entries, *against) if any(name in str(entry) for name in names)]
    return (*errors, *said)


def _tables(session: Session, *purposes: str) -> dict[str, Readings]:
    names = [f.path.name for f in session.facts.files if f.purpose in purposes]
    return {name: r for name, r in session.all_readings.items() if name in names}


def _most_power_w(session: Session) -> float | None:
    """Return the most RF power (W, upper bound) that readings or papers show, None where nobody knows any."""
    rated = session.facts.amplifier.rated_output_w
    known = [] if rated is None else [rated]
    for readings in _tables(session, _LEVEL, _WITH_CRYSTAL).values():
        errors = readings.common_errors("rf_power_w")
        if "rf_power_w" in readings.table.columns and not any(e.name == POWER_SCALE_UNSTATED for e in errors):
            known.append(upper_bound(true_power(float(readings.table["rf_power_w"].max()), errors)))
    return max(known, default=None)


def _column(session: Session, column: str, *purposes: str) -> pd.Series[float]:
    tables = [r.table for r in _tables(session, *purposes).values() if column in r.table.columns]
    values = pd.concat([t[column] for t in tables]) if tables else pd.Series(dtype=float)
    return values[np.isfinite(values.astype(float))].astype(float)


def _range_of(session: Session, purpose: str, column: str) -> tuple[float, float] | None:
    values = _column(session, column, purpose)
    return None if values.empty else (float(values.min()), float(values.max()))


def _light_mw(session: Session) -> float | None:
    values = [_column(session, c, "scan", _WITH_CRYSTAL) for c in ("incident_power_mw", "optical_power_mw")]
    return max((float(v.max()) for v in values if not v.empty), default=None)


def _driven_above(session: Session, safe_v: float | None) -> tuple[str, ...]:
    if safe_v is None:
        return ()
    tables = _tables(session, _WITH_CRYSTAL, "scan").items()
    return tuple(n for n, r in tables if "supply_v" in r.table.columns and (r.table["supply_v"] > safe_v).any())


def _doubted(session: Session, start: SafeStart | None) -> tuple[str, ...]:
    """Return the names of the checks of the level that failed."""
    return () if start is None else tuple(c.name for c in session.level.fit.failed)
