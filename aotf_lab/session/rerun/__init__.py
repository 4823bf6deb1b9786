"""Run a session again, years later or with a newer library, and say what differs.

results      ``results`` of an open session: every number in one flat table (``SessionResults``)
collect      the numbers of any part, found by the names that they bear;  samples  curves at round places
row  table   one number, one check; all of them with files and versions
file         the table as JSON, one number or check a line
failed       how many checks failed, and for how many reasons
differences  what a newer run gives otherwise, in words
"""
