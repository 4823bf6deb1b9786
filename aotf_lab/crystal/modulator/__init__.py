"""A plain modulator: an isotropic Bragg cell with a carrier in place of a tuning curve.

modulator   ``Modulator`` and ``fit_modulator``: angles, saturation, predicted edges
response    light against the carrier's frequency: best carrier and bandwidth
breadth     is it broad enough for a modulator, or the passband of a filter
"""
