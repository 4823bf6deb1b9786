"""Logs too long to be kept in memory: read once in pieces, reduced to block means, every row accounted for.

power          ``reduce_power_log``, the way through:  stream -> rows -> blocks -> result
plan           how the file is read, found in its first lines by the way that reads every other file
stream         the file in pieces of whole lines, hashed on the way
sort_lines     which lines are plain rows of numbers;  rows: those through pandas, the others by one_line
blocks         where a block begins and what is summed in it;  series: its light or its dark readings
batches, correlation    the uncertainty of a mean of readings that are not independent
tally          what was not taken, counted by reason;  long_log, result: the account of it all
progress       how far the reading has come;  limit: files that are too long for every other reader
"""

from aotf_lab.reading.long.limit import refuse_long
from aotf_lab.reading.long.long_log import LongLog
from aotf_lab.reading.long.power import reduce_power_log

__all__ = ["LongLog", "reduce_power_log", "refuse_long"]
