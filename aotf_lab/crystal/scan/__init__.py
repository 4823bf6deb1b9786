"""The passband of one line: readings around its peak in, centre, width, lag and sidelobes out.

passband    ``Scan`` and ``fit_scan``
table       the rows in the order in which the meter saw them; guess: where the search starts; known: what is told
model       coupled waves, a lean, a floor, a meter that trails
first, fit  a first fit, and the fit proper; noise, likelihood: how the readings scatter about it
point, sidelobes, checks    a reading's place, the lobes beside the peak, what is asked of the fit
"""
