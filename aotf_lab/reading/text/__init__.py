"""From the bytes of a raw file to preamble, headings and rows of cells; nothing is understood yet.

split           bytes -> Grid, through all of the below
decode, legacy  bytes -> text, with the evidence for the encoding;  foreign  what is no table at all
lines, cells    text -> lines -> cells;  kinds  what a cell looks like
separators      which sign stands between the cells;  decimal_mark, number_marks  inside the numbers
width, search, heading, stated   how many cells a reading has, and where the headings stand
body, furniture readings, and the rows below the headings that are none;  preamble  key and value above them
"""
