"""How much light for how much RF power: readings in, efficiency and saturation out.

one_line   ``Efficiency``, ``fit_efficiency``; curve: what can be asked of it; law: sin^2, kept calm in weak drive
lines      ``EfficiencyLines`` and ``fit_efficiency_lines``; shared: their joint fit; wavelength: is its law kept?
           line_curves: every line's curve out of the few numbers that all share
readings   what of a table is usable; start: where the search starts
intervals  asymmetric intervals; checks: what is asked before a curve is believed
"""
