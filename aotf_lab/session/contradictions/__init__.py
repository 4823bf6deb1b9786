"""What session.toml states, held against what the raw files say.

contradiction   ``Contradiction``: what, place, found, stated, cure, and whether it makes the session unusable
rows            direction, line, frequencies, temperature and RF power of one file
preamble        line, direction, probe, pad, termination, coupling, range, wavelength above the headings
said            what the words of such a setting mean
scatter         repeated readings against the stated scatter
times           start times against order and day
scans           scans of one line against each other, efficiency against scans
off_peak        efficiency against the peak of its line
lines           peaks against the tuning curve, labels and each other
kind            what was measured against the kind of crystal
amplifier       RF power against what the amplifier gives: a pad or a probe that is another than stated
"""

from __future__ import annotations

from collections.abc import Sequence

from aotf_lab.session.contradictions.amplifier import against_amplifier
from aotf_lab.session.contradictions.contradiction import Contradiction, ReadFile
from aotf_lab.session.contradictions.kind import against_kind
from aotf_lab.session.contradictions.lines import against_lines, exchanged_lines
from aotf_lab.session.contradictions.off_peak import against_peak
from aotf_lab.session.contradictions.preamble import against_preamble
from aotf_lab.session.contradictions.rows import against_rows
from aotf_lab.session.contradictions.scans import against_scans
from aotf_lab.session.contradictions.scatter import against_scatter
from aotf_lab.session.contradictions.times import against_times
from aotf_lab.session.session import Session

__all__ = ["Contradiction", "ReadFile", "contradictions"]


def contradictions(session: Session, reads: Sequence[ReadFile]) -> tuple[Contradiction, ...]:
    """Return every contradiction between session.toml and the files that could be read, file by file."""
    own = [c for read in reads for part in (against_rows, against_preamble, against_scatter) for c in part(read)]
    between = [*against_kind(reads), *against_times(reads), *against_scans(reads, exchanged_lines(session))]
    between += [*against_amplifier(session), *against_peak(session, reads), *against_lines(session, reads)]
    return (*own, *between)
