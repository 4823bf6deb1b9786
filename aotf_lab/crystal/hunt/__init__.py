"""The hunt: one wide sweep of the frequency in, the list of its peaks out, each with what it probably is.

hunt        ``Hunt`` and ``fit_hunt``
table       the rows in the order in which the meter saw them
seeds       where light stands out of the scatter, by a test of known false-alarm rate
start       from there to the first values of a peak
model, newton, solve, common    all passbands at once, behind one trailing meter, and which there are
noise, fit  how the readings scatter about them, and the numbers that come of it
lobes, found    the first sidelobes of each passband, measured; the list of all peaks
peak        ``Peak`` and ``Explanation``
expected    what is told beforehand: lines, tuning, harmonics, width
cut_off     peaks whose top lies at an end of the sweep or beyond
features, ghosts, neighbours, decide    what each peak could be, and what speaks for it
checks      what is asked of the sweep
"""
