"""The highest bit rate as an answer: how fast, how open, what limits it, and how often a bit is read wrong."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from uncertainties import UFloat, nominal_value

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation import Check
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.timing.eye.channel import Channel
from aotf_lab.timing.eye.diagram import EyeDiagram, simulated_eye
from aotf_lab.timing.eye.openings import Openings, openings

__all__ = ["DataRate", "Limit"]

Limit = Literal["vertical", "horizontal", "bit errors"]
"""Which demand the highest rate just meets."""

_LEAST_MEANT = 1e-15


@dataclass(frozen=True)
class DataRate:
    """The highest bit rate (kbit/s) through the light, made by ``data_rate``.

    ``openings`` is the worst eye at that rate, ``limited_by`` the demand that it just meets, ``q`` and
    ``bit_error_rate`` what the worst pattern of bits gives with the noise stated (Gaussian).
    """

    bit_rate_kbit_s: UFloat | float
    channel: Channel
    openings: Openings
    eye_opening: float
    eye_width: float
    bit_error_limit: float | None
    limited_by: Limit
    q: float
    bit_error_rate: float
    checks: tuple[Check, ...]

    @property
    def bit_us(self) -> float:
        """The shortest bit (us)."""
        return self.openings.bit_us

    def openings_at(self, bit_rate_kbit_s: float) -> Openings:
        """Return the worst eye at another rate; raises ``AotfLabError`` for a rate not above zero."""
        if not bit_rate_kbit_s > 0:
            raise AotfLabError(
                "bit rate (kbit/s)", found=bit_rate_kbit_s, allowed="above 0", cure="give bits per millisecond"
            )
        return openings(self.channel, 1e3 / bit_rate_kbit_s)

    def simulated(self, *, order: int = 9, jitter: bool = False, noise: bool = False, seed: int = 1) -> EyeDiagram:
        """Return the eye at the highest rate by simulation; see ``simulated_eye``."""
        return simulated_eye(self.channel, self.bit_us, order=order, jitter=jitter, noise=noise, seed=seed)

    @property
    def mean_bit_error_rate(self) -> float:
        """The bit error rate over all patterns, most of which are kinder than the worst."""
        return self.simulated().mean_bit_error(self.openings.sample_us, self.openings.threshold)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, words) for each line of ``str``."""
        c, o = self.channel, self.openings
        rate = self.bit_rate_kbit_s
        shown = f"{rate:.2uS}" if isinstance(rate, UFloat) and rate.s > 0 else f"{nominal_value(rate):.4g}"
        found = [
            ("bit rate", f"{shown} kbit/s at the most, a bit of {o.bit_us:.4g} us; limited by {self._limit()}"),
            ("eye", f"open to {100 * o.vertical:.1f} % of the light when on and {100 * o.horizontal:.0f} % of the bit,"
                    " over all patterns of bits"),
            ("sample", f"{o.sample_us:.3g} us after the start of the bit at the beam, at {100 * o.threshold:.1f} % of"
                       " the light when on"),
            ("edges", f"10 to 90 %: rise {c.rise_us:.3g} us, fall {c.fall_us:.3g} us; jitter {c.jitter_us:.2g} us rms"),
            ("contrast", f"{c.contrast:.4g}: {100 * c.off_share:.2g} % of the light leaks when off"),
        ]  # fmt: skip
        if c.noise_on + c.noise_off > 0:
            words = f"{_chance(self.bit_error_rate)} for the worst pattern (Q = {self.q:.2f})"
            found.append(
                ("bit errors", f"{words}, {_chance(self.mean_bit_error_rate)} over all patterns; Gaussian noise")
            )
        return tuple(found)

    def _limit(self) -> str:
        if self.limited_by == "bit errors":
            return f"the bit error rate of {self.bit_error_limit:.1e} asked for"
        asked = self.eye_opening if self.limited_by == "vertical" else self.eye_width
        return f"the {self.limited_by} opening of {100 * asked:.3g} % asked for"

    def _title(self) -> str:
        return f"Serial data through the light: {nominal_value(self.bit_rate_kbit_s):.4g} kbit/s"

    def __str__(self) -> str:
        return rows_text(self._title(), self.rows(), (c for c in self.checks if not c.passed))

    def _repr_html_(self) -> str:
        return rows_html(self._title(), self.rows(), (c for c in self.checks if not c.passed))

    def plot(self, ax: Any = None) -> Any:
        """Draw the eye at the highest rate, with the noise and jitter stated, and the worst eye around its opening."""
        return self.simulated(jitter=self.channel.jitter_us > 0).plot(ax)


def _chance(rate: float) -> str:
    """Return a bit error rate in words: no noise is Gaussian so far out that a smaller one could be meant."""
    return f"{rate:.1e}" if rate >= _LEAST_MEANT else f"below {_LEAST_MEANT:.0e}"
