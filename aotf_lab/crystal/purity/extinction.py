"""How dark a line is when it is off: the ratio of its light on to off, or the bound that noise leaves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import hypot, inf, log10

import numpy as np
import pandas as pd
from uncertainties import UFloat
from uncertainties import umath as um

from aotf_lab.crystal.purity.detection import CONFIDENCE, Detection, detection_limit
from aotf_lab.crystal.purity.net import net_light
from aotf_lab.errors import ReadingsError
from aotf_lab.estimation import Check
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.reading.readings import Readings, as_readings, join_readings

__all__ = ["Extinction", "extinction"]

LightReadings = Readings | pd.DataFrame | Sequence[Readings | pd.DataFrame]


@dataclass(frozen=True)
class Extinction:
    """Light of a line on over light off, made by ``extinction``.

    ``on`` and ``off`` are net (mW; or over the incident light, where both were read with it). ``leak`` is off over on.
    """

    line: str
    on: UFloat
    off: UFloat
    leak: Detection
    checks: tuple[Check, ...] = field(default=())
    referenced: bool = False

    @property
    def seen(self) -> bool:
        """Whether the leak stands above the decision threshold: only then is it a number."""
        return self.leak.seen

    @property
    def level_db(self) -> UFloat | None:
        """On over off (dB), None where the leak is not seen."""
        return -10 * um.log10(self.leak.value) if self.seen else None

    @property
    def bound_db(self) -> float:
        """The least that on over off is (dB, 95 %), whether the leak was seen or not."""
        return -10 * log10(self.leak.upper) if self.leak.upper > 0 else inf

    @property
    def threshold_db(self) -> float:
        """A leak that is read as larger than this counts as seen (dB below on)."""
        return -10 * log10(self.leak.threshold) if self.leak.value.s > 0 else inf

    @property
    def detectable_db(self) -> float:
        """The weakest leak that these readings would have shown in 95 % of cases (dB below on)."""
        u_zero, relative = self.off.s / self.on.n, self.on.s / self.on.n
        if u_zero == 0:
            return inf
        return -10 * log10(detection_limit(lambda leak: hypot(u_zero, relative * leak), self.leak.dof))

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value in words), one pair per line of ``str``."""
        unit = " of the incident light" if self.referenced else " mW"
        return (
            ("on over off", self.words()),
            ("on", f"{self.on:.2uS}{unit}"),
            ("off", f"{self.off:.2uS}{unit}{'' if self.seen else ', not told from nothing'}"),
            ("seen from", f"{self.threshold_db:.1f} dB below on; sure to be seen from {self.detectable_db:.1f} dB"),
        )

    def words(self) -> str:
        """Return the ratio, or its bound: never a number out of noise."""
        level = self.level_db
        bound = f"> {self.bound_db:.1f} dB ({100 * CONFIDENCE:.0f} %)"
        return bound if level is None else f"{level:.2uS} dB ({bound})"

    def __str__(self) -> str:
        return rows_text(self._title, self.rows(), (c for c in self.checks if not c.passed))

    def _repr_html_(self) -> str:
        return rows_html(self._title, self.rows(), (c for c in self.checks if not c.passed))

    @property
    def _title(self) -> str:
        return f"Extinction{' of line ' + self.line if self.line else ''}"


def extinction(on: LightReadings, off: LightReadings, *, line: str = "", u_zero_mw: UFloat | float = 0.0) -> Extinction:
    """Return light on over light off from readings of both.

    Columns ``optical_power_mw`` with its u (else the scatter of the readings tells it), and where they were logged
    ``dark_power_mw`` and ``incident_power_mw`` with theirs. A dark reading counts once, however often it is subtracted.
    ``u_zero_mw`` is the doubt of the meter's zero that no averaging lessens: ranges that differ between light and dark,
    stray light; a ``ufloat`` as for ``fit_leakage``. ``seen`` says whether the leak is a number; else there is a bound
    alone.

    Raises ``ReadingsError`` where there is no light when on, and as ``fit_leakage`` does.
    """
    parts = [_joined(on), _joined(off)]
    dropped = [c for c in ("incident_power_mw", "dark_power_mw") if sum(c in p.table.columns for p in parts) == 1]
    table = join_readings(parts)
    kept = table.table.drop(columns=[c for name in dropped for c in (name, f"u_{name}") if c in table.table.columns])
    table = Readings(kept, table.common, table.receipts, table.sources)
    group = np.repeat([0, 1], [len(p.table) for p in parts])
    net = net_light(table, group, u_zero_mw, f"light on and off{' of line ' + line if line else ''}")
    light, rest = net.values
    if not light.n > 3 * light.s:
        raise ReadingsError(
            "no light when the line is on", where=", ".join(s.name for s in parts[0].sources),
            found=f"{light.n:.3g} +- {light.s:.2g}", allowed="light that stands three u above its dark reading",
            cure="check that the laser and the RF are on, and which readings are which",
        )  # fmt: skip
    checks = net.checks + tuple(
        Check(f"one {name}", False, f"only one of on and off has {name}: it is not used; log it in both")
        for name in dropped
    )
    return Extinction(line, light, rest, Detection(rest / light, net.dof[1]), checks, net.referenced)


def _joined(readings: LightReadings) -> Readings:
    parts = [readings] if isinstance(readings, Readings | pd.DataFrame) else list(readings)
    return join_readings(as_readings(p) for p in parts)
