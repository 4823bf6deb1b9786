"""Did the counter count twice, every second period, or through another gate?"""

from __future__ import annotations

from collections.abc import Collection

from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.frequency_steps import by_factor
from aotf_lab.reading.sanity.suspicion import Suspicion, lines_of, listed

__all__ = ["false_counts"]

_CAUSES = {
    2.0: ("counts doubled", "the trigger fires on both edges, or on the second harmonic"),
    1 / 2: ("counts halved", "the trigger misses every second period"),
    3.0: ("counts tripled", "the trigger fires on the third harmonic"),
    1 / 3: ("counts of a third", "the trigger fires on every third period"),
    10.0: ("counts ten times too high", "the gate time was changed, or a decimal point slipped"),
    1 / 10: ("counts ten times too low", "the gate time was changed, a prescaler was left in, or a point slipped"),
}


def false_counts(readings: Readings, explained: Collection[int] = ()) -> tuple[Suspicion, ...]:
    """Return the stretches of ``frequency_mhz`` at 2, 3 or 10 times, or 1/2, 1/3, 1/10 of, what the rows around say.

    Readings of one file. Neighbours are taken in the order of ``drive_v`` where there is one, else in that of the
    file. Rows in ``explained`` (0-based) are passed over.
    """
    found = []
    for factor, (first, rows, true_mhz) in by_factor(readings, explained, _CAUSES).items():
        what, cause = _CAUSES[factor]
        found.append(
            Suspicion(
                what, lines_of(readings, rows),
                f"{first.ratio:.4g} +- {max(first.u_ratio, 1e-4):.1g} times what the rows around say",
                f"{cause}: these rows would be " + listed([f"{true:.7g} MHz" for true in true_mhz]),
                "set the counter's trigger level and gate and measure again, or pass these lines over",
                rows, unusable=True,
            )
        )  # fmt: skip
    return tuple(found)
