"""A scan of a lamp or a laser in, its spectrum against wavelength out.

spectrum   ``Spectrum``; points: its data; fit: ``fit_spectrum``; rows: the readings; axis: frequency to wavelength
kernel     the passband against frequency; lobes: its main lobe and its sidelobes
density    light per frequency: the main lobe's area, less what the sidelobes bring from elsewhere
response   what the detector shows of each wavelength, and what the crystal diffracts of it
lag        a power meter that trails, by the way up and the way down; noise: how the readings scatter
local      the spectrum between its points, and its power between two wavelengths
lines      single lines: where, how much, and whether the passband parts them; line_groups: the readings about them
checks     what is asked before a spectrum is believed
"""
