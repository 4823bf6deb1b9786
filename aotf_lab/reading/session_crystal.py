"""What [crystal] of session.toml says: material, rating, velocity, kind."""

from __future__ import annotations

from dataclasses import dataclass

from aotf_lab.physics.indices import known_materials
from aotf_lab.reading.toml_section import Section

__all__ = ["CRYSTAL_KINDS", "CrystalFacts", "crystal_facts"]

CRYSTAL_KINDS = ("filter", "modulator")
"""What the crystal is: a "filter", which the frequency tunes to a wavelength, or a "modulator", an isotropic Bragg cell
on one carrier, which has no tuning curve."""


@dataclass(frozen=True)
class CrystalFacts:
    """The crystal as its papers state it; None where session.toml says nothing.

    ``rated_rf_power_w`` is the limit of the average, ``peak_rf_power_w`` that of a pulse, ``duty_limit`` the
    largest share of time (0 to 1) for which the peak may last. ``kind`` is one of ``CRYSTAL_KINDS``.
    """

    material: str = "TeO2"
    rated_rf_power_w: float | None = None
    velocity_m_s: float | None = None
    u_velocity_m_s: float | None = None
    temperature_c: float | None = None
    peak_rf_power_w: float | None = None
    duty_limit: float | None = None
    kind: str = "filter"


def crystal_facts(section: Section) -> tuple[CrystalFacts, list[str]]:
    """Return what the section says, and what was assumed; raises ``SessionError`` as its values do."""
    facts = CrystalFacts(
        section.choice("material", known_materials(), "TeO2"),
        section.number("rated_rf_power_w", None, above=0),
        section.number("velocity_m_s", None, above=0),
        section.number("u_velocity_m_s", None, above=0),
        section.number("temperature_c", None),
        section.number("peak_rf_power_w", None, above=0),
        section.number("duty_limit", None, above=0),
        section.choice("kind", CRYSTAL_KINDS, "filter"),
    )
    section.close()
    _refuse_peak(section, facts)
    assumed = []
    if not section.has("material") and facts.kind == "filter":
        assumed.append("crystal material not stated: TeO2 (paratellurite) assumed")
    if facts.rated_rf_power_w is None:
        assumed.append("rated RF power not stated: no drive can be called safe; take it from the crystal's papers")
    if facts.velocity_m_s is not None and facts.u_velocity_m_s is None:
        assumed.append("u of the acoustic velocity not stated: 1 % assumed")
    return facts, assumed


def _refuse_peak(section: Section, facts: CrystalFacts) -> None:
    """Refuse a duty above 1, and a peak limit below that of the average, whose own peak it would be."""
    rated, peak = facts.rated_rf_power_w, facts.peak_rf_power_w
    if facts.duty_limit is not None and facts.duty_limit > 1:
        raise section.refuse("duty_limit", "out of bounds", "a share of time above 0, 1 at the most",
                             "write 30 % as 0.3")  # fmt: skip
    if rated is not None and peak is not None and peak < rated:
        raise section.refuse("peak_rf_power_w", "below rated_rf_power_w, whose own peak it is",
                             f"a number of at least {rated:g}", "correct one of the two")  # fmt: skip
