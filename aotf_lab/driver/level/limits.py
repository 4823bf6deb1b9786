"""Average and peak RF power of a pulsed drive: two limits, and neither stands in for the other."""

from __future__ import annotations

from dataclasses import dataclass

from aotf_lab.errors import AotfLabError

__all__ = ["DriveLimits", "average_w"]


def average_w(peak_w: float, duty: float) -> float:
    """Return the average power (W) of a drive that is on for a share ``duty`` (above 0 to 1) of the time.

    Raises ``AotfLabError`` for a duty cycle outside that range.

    >>> average_w(0.8, 0.25)
    0.2
    """
    return peak_w * _checked_duty(duty)


@dataclass(frozen=True)
class DriveLimits:
    """What the crystal's papers allow: ``average_w`` for a continuous drive, ``peak_w`` for a pulse if they state it.

    A pulse may be no stronger than a continuous drive unless the papers say so: heat is not all that
    can harm a transducer.

    >>> DriveLimits(0.8).highest_peak_w(duty=0.1), DriveLimits(0.8, peak_w=2.0).highest_peak_w(duty=0.5)
    (0.8, 1.6)
    """

    average_w: float
    peak_w: float | None = None

    def __post_init__(self) -> None:
        for name, value in (("average RF power", self.average_w), ("peak RF power", self.peak_w)):
            if value is not None and not value > 0:
                raise AotfLabError(
                    f"limit of the {name}", found=value, allowed="above 0 W", cure="take it from the crystal's papers"
                )

    def highest_peak_w(self, duty: float = 1.0) -> float:
        """Return the highest power (W) while on, at a share ``duty`` of the time: both limits hold."""
        if self.peak_w is None:
            _checked_duty(duty)
            return self.average_w
        return min(self.average_w / _checked_duty(duty), self.peak_w)


def _checked_duty(duty: float) -> float:
    if not 0 < duty <= 1:
        raise AotfLabError(
            "duty cycle", found=duty, allowed="above 0, to 1", cure="state on time over period, 1 for CW"
        )
    return duty
