"""Which line of a catalogue is each peak? From peaks and lines to the identity, step by step."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.cut import Cut
from aotf_lab.crystal.identity.assignment import ranking
from aotf_lab.crystal.identity.candidates import candidates
from aotf_lab.crystal.identity.checks import fit_check, only_one_check
from aotf_lab.crystal.identity.exchanged import exchanged_labels, stated_labels
from aotf_lab.crystal.identity.identity import Identity
from aotf_lab.crystal.identity.law import U_LAW, log_law
from aotf_lab.crystal.identity.peaks import as_peaks
from aotf_lab.crystal.identity.search import search
from aotf_lab.crystal.identity.strangers import ghost_of, log_density
from aotf_lab.crystal.tuning.curve import Tuning
from aotf_lab.crystal.tuning.law import TuningLaw
from aotf_lab.data import CatalogueLine, catalogue_lines
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.estimation import Check, FittedFunction
from aotf_lab.estimation.checks import chi2_limit

__all__ = ["CHANCE_OF_NONE", "identify"]

CHANCE_OF_NONE = 0.1
"""Mean chance, before looking, that a peak is none of the lines of the catalogue: a judgement."""

_BEYOND = 20.0
"""How far above its limit a chi-square is still searched: a factor of e^10 in probability."""

_APART = 2.0
"""Lines count as one within this many standard uncertainties of a peak, turned into wavelength:"""
_SLOPE, _MIDDLE_NM = 1.5, 600.0
"""frequency goes about as wavelength to the power -1.5; the middle of the visible."""


def identify(
    peaks: Mapping[str, UFloat] | Sequence[UFloat],
    catalogue: Sequence[CatalogueLine] | None = None,
    *,
    labels: Mapping[str, str] | None = None,
    material: str = "TeO2",
    scale: UFloat | Cut | Tuning | None = None,
    chance_of_none: float = CHANCE_OF_NONE,
    widened: float = 1.0,
    extrapolate: bool = False,
) -> Identity:
    """Return which line of ``catalogue`` each peak (MHz, ``ufloat``) is, by the published shape of the tuning curve.

    ``catalogue`` defaults to the packaged laser and lamp lines; give the lines of the bench (``own_lines``) where
    they are known, a diode known by its label with a u of 3 nm. ``scale`` is s of the tuning law in m/s, or a ``Cut``
    or ``Tuning`` that says it; left out, it is unknown. ``chance_of_none`` is the mean chance that a peak is none
    of the lines. ``labels`` (peak -> line) are tried in every order; without them peaks that bear the name of a line
    count as labelled; labels count, but each may be wrong. ``widened`` widens the weak priors on the shape, for a
    crystal that is not as published; ``extrapolate`` takes lines beyond the published dispersion too.

    Raises ``ReadingsError`` for peaks, lines or labels that cannot be used, ``AotfLabError`` for a chance that is not
    between 0 and 1 or a scale without uncertainty, ``MaterialError`` for a crystal without packaged indices.

    >>> from uncertainties import ufloat
    >>> peaks = [ufloat(f, 0.006) for f in (82.541, 76.654, 63.550, 58.767)]
    >>> lasers = [CatalogueLine(n, nm, 0.1, "label", "stated") for n, nm in
    ...           {"blue": 488.12, "green": 514.67, "amber": 594.10, "red": 632.99, "far": 647.27}.items()]
    >>> [line.name for line in identify(peaks, lasers).lines.values()]
    ['blue', 'green', 'amber', 'red']
    """
    numbers = as_peaks(peaks)
    _require_chance(chance_of_none)
    u_relative = np.hypot(np.median(numbers.u_mhz / numbers.frequency_mhz), U_LAW)
    lines = candidates(catalogue, material, float(_APART * u_relative / _SLOPE * _MIDDLE_NM), extrapolate)
    known = catalogue_lines() if catalogue is None else list(catalogue)
    unscaled = log_law(numbers, lines, material, None, widened)
    s = _scale(scale, unscaled.law)
    law = unscaled if s is None else log_law(numbers, lines, material, s / numbers.shared, widened)
    bound = chi2_limit(len(numbers)) + _BEYOND
    found = search(law, bound, log_density(numbers))
    ghosts = np.array([ghost_of(numbers, row) is not None for row in range(len(numbers))])
    stated = stated_labels(numbers, known, labels)
    said = [lines.place(stated.get(name)) for name in numbers.names]
    ranked = ranking(found, law, lines, chance_of_none, ghosts, said)
    exchange = exchanged_labels(numbers, stated, material, None if s is None else s / numbers.shared, widened)
    complete = None if found.complete else Check("search", False, "too many assignments: the less likely were dropped")
    alone = (only_one_check(numbers, ranked, s is not None), fit_check(ranked.assignments[0]), complete)
    decided = tuple(c for c in alone if c is not None)
    return Identity(numbers, lines, tuple(known), law.law, widened, ranked, exchange, decided, s is not None)


def _scale(scale: UFloat | Cut | Tuning | None, law: TuningLaw) -> UFloat | None:
    """Return s (m/s) of ``law`` where it is known."""
    if scale is None:
        return None
    nm = np.array([law.reference_nm])
    if isinstance(scale, Cut):
        s = scale.frequency(law.reference_nm) / float(law(nm, 1.0, 0.0, 0.0)[0])
    elif isinstance(scale, Tuning):
        s = FittedFunction(scale.fit, scale.law)(law.reference_nm) / float(law(nm, 1.0, 0.0, 0.0)[0])
    else:
        s = scale
    if not (hasattr(s, "s") and s.n > 0 and s.s > 0):
        raise AotfLabError(
            "scale of the tuning curve", found=Said(str(s)), allowed="a ufloat above zero (m/s), a Cut or a Tuning",
            cure="state the scale with its uncertainty, or leave it out",
        )  # fmt: skip
    return s


def _require_chance(chance: float) -> None:
    if not 0 < chance < 1:
        raise AotfLabError(
            "chance that a peak is none of the lines", found=chance, allowed="between 0 and 1", cure="give 0.05, say"
        )
