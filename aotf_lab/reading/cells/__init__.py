"""What the cells of a table say: numbers in their many spellings, marks, units in the cell, words.

    number     one cell -> its number, the unit beside it, and whether it is in doubt
    marks      cells without a number of their own: over-range and gap marks, dittos, spreadsheet dates
    cell_unit  in which unit the number of a cell stands
    column     the cells of one column -> numbers in its bench unit, rejected and flagged rows
    words      directions and media
    cure       what to do about a cell that is none of these

A cell is one of these or it is refused with its file and line: no text becomes a number by chance.
"""
