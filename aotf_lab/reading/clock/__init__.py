"""From the stamps of a log to elapsed seconds, and from two logs on two clocks to one table.

forms       what one cell of a clock says: an explicit list of forms
dates       in which order day, month and year stand
course      how the time runs down the column: midnight, restarts, backward steps
summer      whether a jump of an hour is a change to or from summer time
stamps      a column of cells -> ``Clock``
activity    a log as a signal on a steady grid;  offset  the offset of two clocks by cross-correlation
pairs       which rows of two logs belong together;  joined  two logs -> ``JoinedLogs``
"""
