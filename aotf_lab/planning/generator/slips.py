"""The commonest mistakes beside the right way: what the same numbers make on a display of the other kind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from uncertainties import UFloat, nominal_value

from aotf_lab.driver import Vco
from aotf_lab.errors import OutOfRangeError
from aotf_lab.planning.generator.output import Output
from aotf_lab.planning.generator.typed import Typed
from aotf_lab.planning.generator.wanted import Wanted

__all__ = ["Slip", "slips_of"]


@dataclass(frozen=True)
class Slip:
    """One mistake at one level: the volts that it asks for at the port, and the frequency that they make.

    ``frequency_mhz`` is None where the volts lie beyond the oscillator's curve or the generator does not give them;
    ``remark`` says so, ``harmful`` that the port would be driven beyond what it may take.
    """

    mistake: str
    name: str
    port_v: float
    frequency_mhz: UFloat | None
    off_mhz: float | None
    harmful: bool
    remark: str

    def __str__(self) -> str:
        made = (
            self.remark if self.frequency_mhz is None else f"{self.frequency_mhz.n:.3f} MHz ({self.off_mhz:+.3f} MHz)"
        )
        tail = f"; {self.remark}" if self.remark and self.frequency_mhz is not None else ""
        return f"{self.name}: {self.port_v:.4f} V at the port, {made}{tail}"


def slips_of(wanted: Sequence[Wanted], typed: dict[str, Typed], output: Output, vco: Vco) -> tuple[Slip, ...]:
    """Return each mistake at each level; ``typed`` are the right values by display."""
    high, fifty = typed["high impedance"], typed["50 ohm"]
    found = []
    for k, level in enumerate(wanted):
        trials = (
            (_ORDER[0], fifty.levels_v[k] * fifty.factor),
            (_ORDER[1], high.levels_v[k] / fifty.factor),
        )
        found += [_slip(words, level, volts, output, vco) for words, volts in trials]
        if output.share_n < 1:
            found.append(_slip(_ORDER[2], level, level.port_v.n - float(nominal_value(output.bias_v)), output, vco))
    return tuple(sorted(found, key=lambda s: _ORDER.index(s.mistake)))


_ORDER = (
    "50-ohm numbers on a high-impedance display", "high-impedance numbers on a 50-ohm display",
    "port's resistance forgotten",
)  # fmt: skip


def _slip(mistake: str, level: Wanted, open_v: float, output: Output, vco: Vco) -> Slip:
    port = output.port_n(open_v)
    low, high = output.input_range_v
    harmful = not low <= port <= high
    given = output.generator.range_v
    remarks = ["beyond what the port may take"] if harmful else []
    if given is not None and not given[0] - 1e-9 <= open_v <= given[1] + 1e-9:
        return Slip(mistake, level.name, port, None, None, False, "the generator does not give it, and may say so")
    try:
        frequency = vco.frequency_at_true(port)
    except OutOfRangeError:
        return Slip(mistake, level.name, port, None, None, harmful,
                    "; ".join([*remarks, "beyond the oscillator's curve"]))  # fmt: skip
    off = float(frequency.n - level.frequency_mhz.n)
    return Slip(mistake, level.name, port, frequency, off, harmful, "; ".join(remarks))
