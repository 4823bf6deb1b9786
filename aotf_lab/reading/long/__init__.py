"""Logs too long to be kept in memory: read once in pieces, reduced to block means, every row accounted for.

    power          ``reduce_power_log``, the way through:  stream -> rows -> blocks -> result
    plan           how the file is read, found in its first lines by the way that reads every other file
    dark_mark, iso_clock    the column that marks dark rows; a column of clock times
    stream         the file in pieces of whole lines
    sort_lines     which lines are plain rows of numbers
    rows           what the lines of a piece hold:  plain ones by ``plain`` through pandas, the others by ``odd_lines``
    blocks         where a block begins and what is summed in it;  series: its light or its dark readings
    batches, correlation    the uncertainty of a mean of readings that are not independent
    growing        numbers collected in one buffer each, so that memory does not grow with the file
    tally          what was not taken, counted by reason;  long_log, result: the account of it all
    progress       how far the reading has come;  limit: files that are too long for every other reader

A raw file is opened once, for reading only; its hash is taken on the way.
"""

from aotf_lab.reading.long.limit import refuse_long
from aotf_lab.reading.long.long_log import LongLog
from aotf_lab.reading.long.power import reduce_power_log

__all__ = ["LongLog", "reduce_power_log", "refuse_long"]
