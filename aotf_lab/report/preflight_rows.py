"""The numbers of the checklist as rows of words: limits, and what each part of the bench takes."""

from __future__ import annotations

import math
from collections.abc import Iterator

from aotf_lab.planning.damage import Strain
from aotf_lab.reading.session_file import CrystalFacts
from aotf_lab.session.before_rf import BeforeRf

__all__ = ["LIMIT_HEADS", "PART_HEADS", "limit_rows", "part_rows", "part_takes", "rounded_down", "told_apart"]

LIMIT_HEADS = ("Limit", "Value", "How it is known")
PART_HEADS = ("Part", "Takes at most", "May take", "Verdict")

_OF_FLOOR = "lowest"


def rounded_down(value: float, decimals: int = 2) -> str:
    """Return a number that must not be rounded up, such as a supply voltage.

    >>> rounded_down(9.748), rounded_down(9.0)
    ('9.74', '9.00')
    """
    return f"{math.floor(value * 10**decimals + 1e-9) / 10**decimals:.{decimals}f}"


def told_apart(value: float, limit: float | None, digits: int = 3) -> str:
    """Return a number with so many digits that it reads on the side of the limit on which it lies.

    >>> told_apart(13.94, 12.0), told_apart(10.008, 10.0), told_apart(13.929, 13.928), told_apart(10.0, 10.0)
    ('13.9', '10.01', '13.93', '10')
    """
    if limit is None or math.isclose(value, limit, rel_tol=1e-9):
        return f"{value:.{digits}g}"
    texts = (f"{value:.{n}g}" for n in range(digits, 17))
    said = float(f"{limit:g}")
    return next((t for t in texts if (float(t) > said if value > limit else float(t) < said)), repr(value))


def limit_rows(found: BeforeRf) -> list[tuple[str, str, str]]:
    """Return the limits of the bench: name, value, how it is known."""
    return [*_of_crystal(found.facts.crystal), *_of_supply(found), *_of_amplifier(found)]


def _of_crystal(crystal: CrystalFacts) -> Iterator[tuple[str, str, str]]:
    rated, peak, duty = crystal.rated_rf_power_w, crystal.peak_rf_power_w, crystal.duty_limit
    if rated is None:
        yield "RF power, average", "not stated", "take it from the crystal's own papers"
        return
    yield "RF power, average", f"{rated:g} W", "stated"
    if peak is None:
        yield "RF power, peak", f"{rated:g} W", "peak limit not stated: no pulse above the average"
        return
    if peak <= rated:
        yield "RF power, peak", f"{peak:g} W", "stated: no more than the average"
        return
    share = min(rated / peak, 1.0 if duty is None else duty)
    by = "so that the average holds" if duty is None or duty > rated / peak else "as stated"
    yield "RF power, peak", f"{peak:g} W", f"stated, in pulses only: duty up to {rounded_down(100 * share, 0)} %, {by}"


def _of_supply(found: BeforeRf) -> Iterator[tuple[str, str, str]]:
    start = found.start
    if start is None:
        yield "Highest supply", "withheld", found.withheld
        return
    safe = start.safe
    yield (
        "Highest supply", f"{rounded_down(safe.supply_v)} V",
        f"RF power below {safe.limit_w:g} W with {100 * safe.confidence:g} % confidence, held by {safe.held_by}",
    )  # fmt: skip
    yield "Hottest frequency", f"{safe.at_mhz:.1f} MHz", f"{safe.rf_power_w:.1uS} W there at that supply, as fitted"
    share = 100 * start.first_w / safe.limit_w
    lowest = ", the lowest supply measured" if start.lowest else ""
    yield "First supply", f"{rounded_down(start.first_v)} V", f"{share:.2g} % of the limit there{lowest}"
    low, high = safe.band_mhz
    yield "Frequencies", f"{low:.1f} to {high:.1f} MHz", f"where the level was measured{_outside(found)}"


def _outside(found: BeforeRf) -> str:
    if found.start is None or found.oscillator_mhz is None:
        return ""
    (low, high), (lowest, highest) = found.start.safe.band_mhz, found.oscillator_mhz
    if lowest >= low and highest <= high:
        return ""
    return f"; the oscillator goes from {lowest:.1f} to {highest:.1f} MHz: stay inside"


def _of_amplifier(found: BeforeRf) -> Iterator[tuple[str, str, str]]:
    start, supply_a = found.start, found.facts.amplifier.supply_a
    if start is None:
        return
    if start.heat_w is None:
        yield "Heat of the amplifier", "not known", "neither a column of supply current nor [amplifier] supply_a"
    else:
        how = f"at most: all of {supply_a:g} A at the highest supply" if start.heat_bound else "DC less RF, there"
        yield "Heat of the amplifier", f"{start.heat_w:.2g} W of heat", how


def part_rows(found: BeforeRf) -> list[tuple[str, str, str, str]]:
    """Return the parts of the bench: part, what it takes, what it may take, verdict; those beyond first."""
    pairs = zip(found.strains, found.turned_up, strict=True)
    return [(_part(s), part_takes(s, found), _may(s), _verdict(s, up)) for s, up in pairs]


def _part(strain: Strain) -> str:
    return f"{strain.part}, {_OF_FLOOR if strain.floor else 'highest'}" if strain.unit == "V" else strain.part


def part_takes(strain: Strain, found: BeforeRf) -> str:
    """Return what a part takes in words; watts that no supply is known to be safe for are not written out."""
    if strain.high is None or strain.low is None:
        return f"not known ({strain.how})"
    if strain.unit == "W" and found.start is None:
        share = "" if strain.limit is None else f", {100 * strain.high / strain.limit:.0f} % of its limit"
        return f"all that the amplifier gives{share} ({strain.how})"
    if strain.unit != "Vrms":
        spread = f" +- {strain.spread:.2g}" if strain.verdict == "at the limit" else ""
        return f"{told_apart(strain.high, strain.limit)}{spread} {strain.unit} ({strain.how})"
    words = f"{told_apart(strain.high, strain.limit)} Vrms, {8**0.5 * strain.high:.3g} Vpp"
    words = f"up to {words}" if strain.low != strain.high else words
    heated = strain.watts if found.start is not None else None
    words += "" if heated is None else f", {1e3 * heated:.2g} mW"
    return f"{words} ({strain.how})"


def _may(strain: Strain) -> str:
    if strain.limit is None:
        return "not stated"
    bound = "not below " if strain.floor else ""
    return f"{bound}{strain.limit:g} {strain.unit}{' (assumed)' if strain.assumed else ''}"


def _verdict(strain: Strain, turned_up: Strain) -> str:
    if strain.verdict == "beyond":
        return "BEYOND"
    if strain.verdict == "at the limit":
        return "AT THE LIMIT"
    if strain.verdict == "within" and turned_up.verdict != "within":
        return "within; BEYOND if the supply goes higher"
    return strain.verdict
