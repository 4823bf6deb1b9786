"""How pure the light is: what leaks of other lines, and of a line that is off.

crosstalk   ``Crosstalk`` and ``crosstalk``: the filter set to one line, the light of every other; cells: one of them;
            crosstalk_checks: what is asked of it
leakage     ``Leakage`` and ``fit_leakage``: measured efficiency of one line at other lines' frequencies
extinction  ``Extinction`` and ``extinction``: light of a line on over off, or the bound that a leak below noise leaves
contrast    ``Contrast`` and ``contrast``: how drive trades light for contrast
detection   when a leak is seen at all, and the most that it may be when it is not; net: readings less their dark
"""
