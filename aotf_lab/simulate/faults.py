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
    second_polarisation : the beam of this line is partly polarised, and the meter sees both orders
    wandering_laser  : the laser of this line wanders by 10 % within seconds while it is scanned
    clipped_scan     : while this line is scanned, the power meter's range ends at 0.8 of the peak
    """

    mistyped_anchor: bool = False
    exchanged_labels: tuple[str, str] | None = None
    doubled_counts: tuple[int, ...] = ()
    cold_start: bool = False
    dial_voltages: bool = False
    one_way_sweep: bool = False
    one_way_scans: bool = False
    second_polarisation: str | None = None
    wandering_laser: str | None = None
    clipped_scan: str | None = None

    def scanned_line(self, name: str) -> str:
        """Return the line that was really scanned when the file says ``name``.

        >>> Faults(exchanged_labels=("D", "E")).scanned_line("D")
        'E'
        """
        pair = self.exchanged_labels
        return pair[1 - pair.index(name)] if pair is not None and name in pair else name


NO_FAULTS = Faults()
"""The bench as it should be."""
