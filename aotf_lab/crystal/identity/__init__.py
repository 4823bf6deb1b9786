"""Which line is each peak? Peaks and a catalogue in; the best assignment, its rivals, and how sure one can be, out.

identity    ``Identity``;  identify: ``identify``, from peaks to it
peaks       the peaks as numbers, an error that they share told apart from their own
candidates  the lines they may be: ``own_lines``, lines in reach, lines that the filter cannot tell apart
law         the tuning law in logarithms: what a few lines say of the others
search      every order of lines that the peaks allow, with its chi-square and its evidence
strangers   peaks that are no line of the catalogue: ghosts among them
assignment  the assignments by probability: best, runner-up, how many remain
exchanged   were labels exchanged?  over all permutations
found       what the other lines say of each peak: its wavelength, and what a mislabelled line may be
checks, words   what is asked of an identity, and how its answers are put
"""
