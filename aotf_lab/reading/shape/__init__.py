"""From a grid of cells to columns that mean something: repeats, blocks, pairs, legs, counts and clocks.

heading, marks, split_heading    one heading: what it means, which repeat or line or limit it marks
hints          units that stand outside the heading: in a row, in the cells, above the headings
mapped         the columns that a person stated, in a call, in session.toml or in a layout
only_one       a column that is needed and is the only one of its kind of unit
companions     columns that complete another one: a date, a unit
settings       the lines above the headings;  interval, counts and start use them
segments, per_line, blocks    which headings belong together: behind a marked one, per line, side by side
pairs, legs    least and greatest reading; up and down in one file
column_data    the numbers of one heading;  block_rows  the rows of one block;  plain_rows  a long log of plain numbers
account        what the receipt says of them
"""
