"""A session folder: session.toml and raw files in, every curve and set-point out.

session  ``Session`` and ``open_session``, on top of  read  its files, and  driver  what they say of the driver
lines    its lines as stated, and as readings for the tuning fit
by_name  results that say why one of them is missing
output   where its results may be written
checked  all receipts, suspicions and contradictions of a session;  contradictions/ finds the last
"""

from aotf_lab.session.checked import SessionCheck, check_session
from aotf_lab.session.output import require_output
from aotf_lab.session.session import Session, open_session

__all__ = ["Session", "SessionCheck", "check_session", "open_session", "require_output"]
