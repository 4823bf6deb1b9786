"""What can go wrong on the invented bench, each switched on by itself."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["NO_FAULTS", "Faults"]


@dataclass(frozen=True)
class Faults:
    """Switches; all are off by default.

    mistyped_anchor  : line E stands in session.toml as 598.96 nm instead of 588.96 nm
    exchanged_labels : the scans of these two lines were saved under each other's name
    doubled_counts   : positions (0-based) in the sweep at which the counter shows twice the frequency
    cold_start       : the sweep starts 4 min after power-on
    dial_voltages    : the sweep notes the pot's dial, with its backlash, instead of the voltmeter
    one_way_sweep    : the sweep has no way back
    one_way_scans    : no scan is made downwards
    """

    mistyped_anchor: bool = False
    exchanged_labels: tuple[str, str] | None = None
    doubled_counts: tuple[int, ...] = ()
    cold_start: bool = False
    dial_voltages: bool = False
    one_way_sweep: bool = False
    one_way_scans: bool = False

    def scanned_line(self, name: str) -> str:
        """Return the line that was really scanned when the file says ``name``.

        >>> Faults(exchanged_labels=("D", "E")).scanned_line("D")
        'E'
        """
        pair = self.exchanged_labels
        return pair[1 - pair.index(name)] if pair is not None and name in pair else name


NO_FAULTS = Faults()
"""The bench as it should be."""
