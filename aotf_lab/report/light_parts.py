"""What was measured of the light in one session: each part, or None where it was not, or could not be computed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from aotf_lab.crystal.angles import Angles
from aotf_lab.crystal.beam import BeamSize
from aotf_lab.crystal.hunt.hunt import Hunt
from aotf_lab.crystal.identity.identity import Identity
from aotf_lab.crystal.polarisation import Polarisation
from aotf_lab.crystal.purity.crosstalk import Crosstalk
from aotf_lab.crystal.spectrum.spectrum import Spectrum
from aotf_lab.planning.one_drive_result import OneDrive
from aotf_lab.planning.park import Park
from aotf_lab.report.driver_parts import Driver, part_of
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
        hunt=part_of(session, "hunt"),
        identity=part_of(session, "identity"),
        spectrum=part_of(session, "spectrum"),
        crosstalk=part_of(session, "crosstalk"),
        angles=part_of(session, "angles"),
        polarisation=part_of(session, "polarisation") or {},
        beam_size=part_of(session, "beam_size") or {},
        one_drive=part_of(session, "one_drive") if safe else None,
        park=part_of(session, "park") if safe else None,
    )
