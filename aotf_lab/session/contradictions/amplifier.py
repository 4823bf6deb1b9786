"""RF power as pad, probe and termination make it, against what the amplifier can be expected to give."""

from __future__ import annotations

from collections.abc import Iterator

from aotf_lab.session.contradictions.contradiction import Contradiction
from aotf_lab.session.session import Session

__all__ = ["against_amplifier"]


def against_amplifier(session: Session) -> Iterator[Contradiction]:
    """Yield a level so low that a pad, a probe or a termination is likely to be another than stated."""
    found, scope = session.pad_slip, session.facts.instruments.scope
    if found is None or found.verdict != "likely":
        return
    ohm = "not stated" if scope.input_ohm is None else f"{scope.input_ohm:g}"
    yield Contradiction(
        "far less RF power than the amplifier gives", found.place, f"{found.power_w:.2g} W there: {found.why}",
        f"[instrument.scope] pad_db = {scope.pad_db:g}, probe = {scope.probe:g}, input_ohm = {ohm}",
        "measure the pad and look for a probe and the termination, or take one reading with a power meter, and correct "
        "them; if they are right, state [amplifier] rated_output_w and rated_supply_v as its papers do", True,
    )  # fmt: skip
