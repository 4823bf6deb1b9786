"""The hunt: one wide sweep of the frequency in, the list of its peaks out, each with what it probably is.

hunt        ``Hunt`` and ``fit_hunt``
table       the rows in the order in which the meter saw them
seeds       where light stands out of the scatter, by a test of known false-alarm rate
model, solve, noise, fit    all passbands at once, behind one trailing meter; how the readings scatter about them
lobes       the first sidelobes of each passband, measured
peak        ``Peak`` and ``Explanation``
expected    what is told beforehand: lines, tuning, harmonics, width
features, ghosts, neighbours, decide    what each peak could be, and what speaks for it
checks      what is asked of the sweep
"""
