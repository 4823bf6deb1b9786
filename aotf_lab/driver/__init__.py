"""The driver: which voltage makes which frequency, and how much RF power reaches the crystal.

vco         drive voltage -> frequency, and back (vco_fit and its companions)
waveform/   one scope trace: frequency, harmonics, watts of the fundamental
level/      RF power over the band and the amplifier's supply, and the highest safe supply
match/      reflection at the crystal's connector
stability/  the oscillator in time: warm-up, Allan deviation, pushing, pulling, hum
"""

from aotf_lab.driver.level import Level, SafeSupply, fit_level, safe_supply
from aotf_lab.driver.match import Match, fit_match, optical_window
from aotf_lab.driver.stability import (
    Pushing,
    Stability,
    WarmUp,
    fit_pushing,
    fit_warm_up,
    stability_budget,
)
from aotf_lab.driver.vco import Side, Vco
from aotf_lab.driver.vco_fit import fit_vco
from aotf_lab.driver.waveform import Waveform, fit_waveform

__all__ = [
    "Level",
    "Match",
    "Pushing",
    "SafeSupply",
    "Side",
    "Stability",
    "Vco",
    "WarmUp",
    "Waveform",
    "fit_level",
    "fit_match",
    "fit_pushing",
    "fit_vco",
    "fit_warm_up",
    "fit_waveform",
    "optical_window",
    "safe_supply",
    "stability_budget",
]
