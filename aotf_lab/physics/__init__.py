"""Pure numpy formulas, each with its source.

    domain          refusing a value that a formula cannot take
    indices         refractive indices of the crystal
    acoustics       velocity of the slow shear wave against angle
    phase_matching  which radio frequency diffracts which wavelength, for a given cut
    coupled_waves   efficiency against drive and detuning; light lost to a frequency error
    air             refractive index of air; wavelength in vacuum and in air
    rf              dBm, watts and volts; reflection

Arguments broadcast like numpy's. A scalar in gives a numpy scalar, anything else an array.
"""
