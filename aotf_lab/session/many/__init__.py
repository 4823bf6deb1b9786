"""Many sessions side by side: a table of their results, what stands apart first, on as many cores as there are.

compare     ``compare`` folders, with whatever backend joblib has;  comparison  what comes of it
row         one session as a row, or the reason why it is none
apart       how far a number stands apart from that of the other sessions
progress    how many are done, for a person who waits at a terminal
"""
