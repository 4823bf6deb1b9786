"""From a grid of cells to columns that mean something: repeats, blocks, pairs, legs, counts and clocks.

heading, marks, split_heading    one heading: what it means, which repeat or line or limit it marks
hints          units that stand outside the heading: in a row, in the cells, above the headings
mapped         the columns that a person stated, in a call, in session.toml or in a layout
only_one       a column that is needed and is the only one of its kind of unit
settings       the lines above the headings;  interval, counts use them
blocks, wide   which headings belong together: blocks side by side, a column per repeat or line
pairs, legs    least and greatest reading; up and down in one file
column_data    the numbers of one heading;  account: what the receipt says of it
"""
