"""The commands that speak of more than one session.

kept   keep, opening, drift, changed: calibrations that are kept, checked and renewed
many   compare: many sessions side by side

``described`` adds a command with what its --help says; ``printed`` turns their results into text as wide as
the terminal.
"""

__all__: list[str] = []
