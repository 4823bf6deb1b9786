"""What was measured of the light in one session: each part, or None where it was not, or could not be computed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from aotf_lab.crystal.angles import Angles
from aotf_lab.crystal.beam import BeamSize
from aotf_lab.crystal.hunt.hunt import Hunt
from aotf_lab.crystal.identity.identity import Identity
from aotf_lab.crystal.polarisation import Polarisation
from aotf_lab.crystal.purity.crosstalk import Crosstalk
from aotf_lab.crystal.spectrum.spectrum import Spectrum
from aotf_lab.planning.one_drive_result import OneDrive
from aotf_lab.planning.park import Park
from aotf_lab.report.driver_parts import Driver
from aotf_lab.session import Session

__all__ = ["Light", "light_of"]


@dataclass(frozen=True)
class Light:
    """The parts; ``one_drive`` and ``park`` are left out where no supply is called safe."""

    hunt: Hunt | None
    identity: Identity | None
    spectrum: Spectrum | None
    crosstalk: Crosstalk | None
    angles: Angles | None
    polarisation: Mapping[str, Polarisation]
    beam_size: Mapping[str, BeamSize]
    one_drive: OneDrive | None
    park: Park | None


def light_of(session: Session, driver: Driver) -> Light:
    """Return what was measured of the session's light."""
    safe = driver.safe is not None
    return Light(
        hunt=_part(session, "hunt"),
        identity=_part(session, "identity"),
        spectrum=_part(session, "spectrum"),
        crosstalk=_part(session, "crosstalk"),
        angles=_part(session, "angles"),
        polarisation=_part(session, "polarisation") or {},
        beam_size=_part(session, "beam_size") or {},
        one_drive=_part(session, "one_drive") if safe else None,
        park=_part(session, "park") if safe else None,
    )


def _part(session: Session, name: str) -> Any:
    """Return a part, None where the session has no file for it: to ask for that would be a trouble."""
    return session.part(name) if name in session.parts else None
