"""What the crystal does to each line at any frequency and RF power.

passbands   ``Passbands`` and ``passbands``: all lines, from their scans, efficiencies and the tuning curve
passband    ``Passband``: one line; bound: the most light that it can give where its nulls are not known
width, drive    how a line without its own scan, or its own drive, comes by its width and its saturation power
"""
