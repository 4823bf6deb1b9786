"""What the cells of a table say: numbers in their many spellings, marks, units in the cell, words.

    number   one cell -> its number, the unit beside it, and whether it is in doubt
    marks    cells without a number of their own: over-range and gap marks, dittos, spreadsheet dates
    column   the cells of one column -> numbers in its bench unit, rejected and flagged rows
    words    directions and media

A cell is one of these or it is refused with its file and line: no text becomes a number by chance.
"""

from aotf_lab.reading.cells.marks import missing_mark
from aotf_lab.reading.cells.words import direction_of, medium_of, number_of

__all__ = ["direction_of", "medium_of", "missing_mark", "number_of"]
