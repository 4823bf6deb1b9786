"""Run a session again, years later or with a newer library, and say what differs.

results      ``results`` of an open session: every number in one flat table (``SessionResults``)
collect      the numbers of any part, found by the names that they bear;  samples  curves at round places
row  table   one number; all of them with files, versions and checks
file         the table as JSON, one number a line
differences  what a newer run gives otherwise, in words
"""
