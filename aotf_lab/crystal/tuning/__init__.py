"""Which frequency picks which wavelength: lines in, the tuning curve out.

curve    ``Tuning`` and ``fit_tuning``
law      the shape that frequency against wavelength can have
lines    which lines can make a curve; order: were labels exchanged?
checks   does the published shape hold?  labels, cures: is a line mislabelled, and what would cure it?
common   between what the instruments indicate and what is true
"""
