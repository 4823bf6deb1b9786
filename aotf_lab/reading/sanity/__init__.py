"""Readings in good form that are probably not what happened: each cause that a bench knows, by its name.

    suspicion       what every cause returns: what, where, found, likely cause, cure, rows
    ask             ``suspicions`` of one table, ``suspicions_between`` several
    rf_power_limit  more RF than the amplifier takes as DC;  power_ratio  two measurements a named factor apart
    mixed_units     Hz, kHz, MHz in one column;  counts  doubled, halved, through another gate;  frequency_steps both
    alias           sampled too slowly;  unfold  the true frequencies
    frozen          a meter that stands still;  saturated  one that ran out of range;  stuck  runs of equal readings
    same_file       a file, or a part of one, used twice;  copied_rows  rows that stand twice;  equal_rows  both
    clock_order     time reversed, stepping back, or standing twice
    wavelengths     in m, um or Angstrom
    wrong_digits    lost points, flipped signs, dates;  beside  what the rows beside say;  date_serial, raw_unit
    scatter         display, scatter and chance

A suspicion is no error: the readings stay as they are, and a person decides. Every cause is a pure
function of the readings (and of facts that are stated elsewhere, as plain arguments). How often good
files are suspected and faults are missed: ``tests/benchmarks/results/sanity.md``.
"""

from aotf_lab.reading.sanity.ask import suspicions, suspicions_between
from aotf_lab.reading.sanity.suspicion import Suspicion

__all__ = ["Suspicion", "suspicions", "suspicions_between"]
