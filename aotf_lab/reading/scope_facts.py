"""The oscilloscope at the drive: what is stated of everything between its screen and the watts in the load."""

from __future__ import annotations

import math
from dataclasses import dataclass

from aotf_lab.physics.rf import mismatch_u, reflection_from_return_loss
from aotf_lab.reading.instrument_fields import Instrument, or_default, said, stated

__all__ = ["Scope"]

LOAD_RETURN_LOSS_DB, SOURCE_RETURN_LOSS_DB = 20.0, 10.0
"""Assumed where nothing is stated: a fair dummy load, and an amplifier without a pad (common practice, no source)."""

U_ROLL_OFF = 12.0**-0.5
"""u of the correction for bandwidth, as a share of it: between none at all and the whole one, rectangular.

A maker's bandwidth is a least value, and a single pole only one of the forms that a fall can have (common practice).
"""

U_SQUARED = 0.2
"""u of a stated noise floor or DC, as a share of it (common practice, no source)."""

_ANY_FACTOR = "RF power may be wrong by any factor"


@dataclass(frozen=True)
class Scope(Instrument):
    """Oscilloscope at the drive.

    ``gain_percent`` error of its vertical gain; ``probe`` factor by which the volts shown are to be
    multiplied (10 for a x10 probe that the scope does not know of); ``pad_db`` attenuation before
    it and its ``u_pad_db``; ``load_ohm`` and its ``u_load_ohm``; ``bandwidth_mhz`` at -3 dB, taken
    as a single pole, and its ``u_bandwidth_percent``; ``u_reading_percent`` scatter of one reading of volts;
    ``input_ohm`` of its input, 50 (terminated) or 1e6 (open); ``time_base_ppm`` relative error of its time base.

    ``noise_mvrms`` is what it shows as volts rms without a signal, ``dc_offset_mv`` the DC that a
    DC-coupled input adds to volts rms (0 when it is AC-coupled): both add in squares. Return losses: of the
    load as the line sees it, and of the amplifier's output.
    """

    gain_percent: float | None = stated(at_least=0)
    probe: float | None = stated(above=0)
    pad_db: float | None = stated(at_least=0)
    u_pad_db: float | None = stated(at_least=0)
    load_ohm: float | None = stated(above=0)
    u_load_ohm: float | None = stated(at_least=0)
    bandwidth_mhz: float | None = stated(above=0)
    u_reading_percent: float | None = stated(above=0)
    input_ohm: float | None = stated(one_of=(50.0, 1e6))
    time_base_ppm: float | None = stated(at_least=0)
    u_bandwidth_percent: float | None = stated(at_least=0)
    noise_mvrms: float | None = stated(at_least=0)
    dc_offset_mv: float | None = stated(at_least=0)
    load_return_loss_db: float | None = stated(above=0)
    source_return_loss_db: float | None = stated(above=0)

    @property
    def power_scale_stated(self) -> bool:
        """Whether pad and probe are both stated, so that a level says how much power it means."""
        return self.pad_db is not None and self.probe is not None

    @property
    def open_behind_pad(self) -> bool:
        """Whether a pad ends in an open input, which then shows twice the volts of a matched one."""
        return bool(self.pad_db) and self.input_ohm is not None and self.input_ohm > 50.0

    @property
    def u_roll_off(self) -> float:
        """u of the correction (f / bandwidth)^2, as a share of it."""
        return U_ROLL_OFF if self.u_bandwidth_percent is None else 2e-2 * self.u_bandwidth_percent

    @property
    def reflections(self) -> tuple[float, float]:
        """Sizes of the reflections (0 to 1) at the load and at the amplifier, assumed ones where not stated."""
        losses = (
            or_default(self.load_return_loss_db, LOAD_RETURN_LOSS_DB),
            or_default(self.source_return_loss_db, SOURCE_RETURN_LOSS_DB),
        )
        load, source = (float(reflection_from_return_loss(loss)) for loss in losses)
        return load, source

    @property
    def u_mismatch(self) -> float:
        """Relative u of power by the two reflections."""
        return float(mismatch_u(*self.reflections))

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was assumed, in words."""
        pad = None if self.pad_db else 0.0  # without a pad its uncertainty costs nothing
        pole = None if self.bandwidth_mhz else 0.0
        mismatch = f"{100 * self.u_mismatch:.2g} % of RF power by mismatch"
        return said(
            (self.gain_percent, "scope gain not stated: 3 % assumed, 6 % of RF power"),
            (self.probe, f"probe factor not stated: 1 assumed, {_ANY_FACTOR}: state probe (1 when there is none)"),
            (self.pad_db, f"pad not stated: 0 dB assumed, {_ANY_FACTOR}: state pad_db (0 when there is none)"),
            (pad if self.u_pad_db is None else 0.0, "u of the pad not stated: 0.5 dB assumed, 12 % of RF power"),
            (
                pad if self.input_ohm is None else 0.0,
                "input behind the pad not stated: 50 ohm assumed; if it is open, there is a quarter of the RF power",
            ),
            (self.load_ohm, "load not stated: 50 ohm assumed"),
            (self.u_load_ohm, "u of the load not stated: 2.5 ohm assumed, 5 % of RF power in 50 ohm"),
            (self.load_return_loss_db, f"return loss of the load not stated: 20 dB assumed, {mismatch}"),
            (self.source_return_loss_db, f"return loss of the amplifier not stated: 10 dB assumed, {mismatch}"),
            (self.bandwidth_mhz, "scope bandwidth not stated: no correction, 10 % of RF power assumed instead"),
            (
                pole if self.u_bandwidth_percent is None else 0.0,
                "u of the scope bandwidth not stated: its fall may be anything from none to that of a single pole",
            ),
            (self.u_reading_percent, "scope scatter not stated: 2 % of each reading assumed, 4 % of RF power"),
        )

    @property
    def added_v(self) -> tuple[float, float]:
        """Noise and DC (V) that an rms reading holds beside the signal, 0 where not stated."""
        return 1e-3 * (self.noise_mvrms or 0.0), 1e-3 * (self.dc_offset_mv or 0.0)

    @property
    def u_added_v(self) -> float:
        """Standard uncertainty (V) of the root of the sum of squares of ``added_v``."""
        return U_SQUARED * math.hypot(*self.added_v)
