"""Smooth curves of unknown form: a Gaussian process whose band carries the doubt about the form.

curve      ``SmoothFit`` and ``fit_smooth``
prior      what is believed before any reading; posterior: what the readings say, averaged over priors
monotone   the nearest rising curve; numbers: many correlated numbers on few shared causes
"""
