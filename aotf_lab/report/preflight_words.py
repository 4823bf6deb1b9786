"""The sentences of the checklist: order of switching, load and cautions.

Facts of the trade (load before RF, full reflection, RF burn, order of switching): common practice, no source. Laser
classes: IEC 60825-1, limits of visible beams read on summaries of it; eyewear and laser safety officer: ANSI Z136.1,
from memory.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from aotf_lab.physics.rf import attenuation_factor, watt_to_rms
from aotf_lab.planning.damage import Strain
from aotf_lab.planning.pad_slip import SLIP
from aotf_lab.report.preflight_rows import rounded_down, told_apart
from aotf_lab.session.before_rf import BeforeRf

__all__ = ["OFF_STEPS", "caution_lines", "damage_words", "load_lines", "on_steps", "warning_lines"]

OFF_STEPS = (
    "RF: turn the amplifier's supply down to its lowest, until the scope shows nothing.",
    "Supplies off: amplifier first, then oscillator. Shutters closed.",
    "Only then unplug. Load or crystal come off the line last.",
)


def on_steps(found: BeforeRf) -> list[str]:
    """Return the order of switching on, with the bench's own volts."""
    mend = ["NOT YET: mend what the first line of this page names, and make it again."] if found.damaged else []
    return [*mend, *_before_supply(found), *_with_supply(found)]


def _before_supply(found: BeforeRf) -> Iterator[str]:
    facts = found.facts
    scope, counter = facts.instruments.scope, facts.limits.counter
    yield (
        "Load tight at the end of the line: dummy load or pad first; the crystal once all went well, RF off to swap."
    )
    pad = "Pad (not stated: look)" if scope.pad_db is None else f"{scope.pad_db:g} dB pad" if scope.pad_db else "No pad"
    ohm = {50.0: ", its input at 50 ohm", 1e6: ", its input open (1 Mohm)"}.get(scope.input_ohm or 0.0, "")
    yield f"{pad} before the scope{ohm}; scope on."
    limit = facts.amplifier.supply_a
    current = "" if limit is None else f", current limit at {limit:g} A"
    yield f"Amplifier supply: output off, voltage at its lowest{current}."
    own = "" if facts.limits.oscillator.supply_v is None else f", {facts.limits.oscillator.supply_v:g} V supply"
    tune = "" if found.start is None else f"; tune it to {found.start.first_mhz:.1f} MHz, the hottest frequency"
    yield f"Oscillator on{own}{tune}."
    tap = "" if counter.pad_db is None else f" behind {counter.pad_db:g} dB"
    yield f"Counter on{tap}{_counted(found)}."


def _counted(found: BeforeRf) -> str:
    if found.start is None:
        return ""
    low, high = found.start.safe.band_mhz
    return f": it must show {low:.1f} to {high:.1f} MHz, always"


def _with_supply(found: BeforeRf) -> Iterator[str]:
    start = found.start
    if start is None:
        yield f"STOP HERE. No supply is known to be safe: {found.withheld}."
        yield (
            "To measure it: dummy load and pad instead of the crystal, power against supply at one frequency, "
            "and against frequency at one supply; then run this again."
        )
        return
    first = f"{rounded_down(start.first_v)} V"
    shown, end = _scope_shows(found, start.first_w), "the pad" if found.facts.instruments.scope.pad_db else "the scope"
    yield (
        f"RF: amplifier supply on at {first}. Where the line ends in {end}, the scope shows about {shown}: "
        "far more, or nothing, means off, and find out why."
    )
    top = f"{rounded_down(start.safe.supply_v)} V"
    most = _scope_shows(found, start.safe.rf_power_w.n)
    if rounded_down(start.first_v) == rounded_down(start.safe.supply_v):
        yield f"Stay there: {top} is the highest safe supply. Watch crystal temperature and supply current."
        return
    yield (
        f"Raise it slowly, watching scope, crystal temperature and supply current; stop where they run away. "
        f"Never above {top} (scope about {most} at {start.safe.at_mhz:.1f} MHz)."
    )


def _scope_shows(found: BeforeRf, rf_power_w: float) -> str:
    """Return the volts that the scope of this bench shows for a power, its fall and gain error left out."""
    scope = found.facts.instruments.scope
    line_v = float(watt_to_rms(rf_power_w, found.facts.instruments.load_ohm))
    pad = float(attenuation_factor(scope.pad_db or 0.0)) ** 0.5
    return f"{(2.0 if scope.open_behind_pad else 1.0) * line_v / pad / (scope.probe or 1.0):.2g} Vrms"


def load_lines(found: BeforeRf) -> list[str]:
    """Return the question about the load, and what an open or shorted line would do, with the bench's volts."""
    power, ohm = found.load.rf_power_w, found.facts.instruments.load_ohm
    volts = ""
    if power is not None:
        line_v = float(watt_to_rms(power, ohm))
        volts = f": {2 * line_v:.3g} Vrms instead of {line_v:.3g}"
    lines = [
        "Is a load present, followed by hand along the cable to its end? An open or shorted line reflects all: up to "
        f"twice the volts on it{volts}, and up to four times the peak dissipation in the amplifier, at the worst phase."
    ]
    on_line = [s.times(2.0) for s in found.strains if s.unit == "Vrms" and s.limit is not None and s.high is not None]
    worse = [s for s in on_line if s.verdict != "within"]
    if worse:
        lines.append(f"Twice the volts would be too much, or may be, for: {', '.join(s.part for s in worse)}.")
    elif on_line:
        lines.append(f"Twice the volts would still be within what is stated for: {', '.join(s.part for s in on_line)}.")
    return lines


def warning_lines(found: BeforeRf) -> list[str]:
    """Return what is no reason to stay off, and must be known."""
    lines = _trusted_pad(found)
    if found.driven_above:
        lines.append(f"Taken with the supply above the safe one, not to be repeated: {_and(found.driven_above)}.")
    if found.doubted:
        lines.append(f"A check of the level failed: {_and(found.doubted)}. The highest supply rests on it.")
    lines += [_at_limit_words(s) for s in found.at_limit]
    lines += [_floor_words(s) for s in found.strains if s.floor and s.verdict == "beyond"]
    return lines if found.start is None or found.trusts_pad else [*lines, _LESS_THAN_10_DB]


_LESS_THAN_10_DB = (
    "The amplifier excludes a pad or probe that is 10 dB off, and tells no less: 50 ohm at a scope stated to be open "
    "make 4 times the power. Look at the termination, measure the pad."
)


def _at_limit_words(strain: Strain) -> str:
    """Return that a reading cannot be told from its limit, and where to stay so that it can."""
    value, limit = strain.low if strain.floor else strain.high, strain.limit
    assert value is not None
    assert limit is not None
    told = f"{told_apart(value, limit)} +- {strain.spread:.2g} {strain.unit} (k = 2)"
    stay = (
        f"{-math.floor(-1e3 * (limit + strain.spread)) / 1e3:.3f} {strain.unit} or more" if strain.floor
        else f"{rounded_down(limit - strain.spread, 3)} {strain.unit} or less"
    )  # fmt: skip
    assumed = " (assumed)" * strain.assumed
    return f"{strain.part} was at its limit, {told} against {limit:g} {strain.unit}{assumed}: from now on set {stay}."


def _trusted_pad(found: BeforeRf) -> list[str]:
    """Return what a slip of pad or probe would do, where nothing that is stated tells one."""
    start, scope, power = found.start, found.facts.instruments.scope, found.load.rf_power_w
    if start is None or power is None or not found.trusts_pad:
        return []
    stated = f"{scope.pad_db:g} dB" if scope.pad_db else "none"
    return [
        f"The pad ({stated}) and the probe (x{scope.probe:g}) are trusted: nothing stated of the amplifier bears them "
        f"out. Were the pad {(scope.pad_db or 0.0) + 10:g} dB, {rounded_down(start.safe.supply_v)} V would make up to "
        f"{SLIP * power:.2g} W, where {start.safe.limit_w:g} W are allowed; were a x10 probe forgotten, "
        f"{100 * power:.3g} W. Measure the pad, or take one reading with a power meter. To have it asked here: "
        "[amplifier] rated_output_w and rated_supply_v, or a column of its supply's current."
    ]


def _floor_words(strain: Strain) -> str:
    assert strain.low is not None
    limit = f"{strain.limit:g} V{' (assumed)' if strain.assumed else ''}"
    return (
        f"{strain.part}: {told_apart(strain.low, strain.limit)} V can reach it, and {limit} is the least that it may "
        "see. Set limits in the generator's menu and state low_limit_v; measure its output with the voltmeter before "
        "you plug it in."
    )


def _and(names: tuple[str, ...]) -> str:
    return ", ".join(names)


def caution_lines(found: BeforeRf) -> list[str]:
    """Return the cautions to tick, with the bench's strongest beam and its wavelengths."""
    beam = found.load.light_mw
    seen = "" if beam is None else f" The strongest beam at the meter was {beam:.2g} mW; the laser may give more."
    known = [line.wavelength_nm for line in found.facts.lines if line.wavelength_nm is not None]
    span = f" ({min(known):.0f} to {max(known):.0f} nm)" if known else ""
    return [
        "Local codes, your laser safety officer and licensed practice come before this page.",
        "Laser class read on each label (IEC 60825-1, visible beams: 2 up to 1 mW, 3R up to 5 mW, 3B up to 500 mW, 4 "
        f"above).{seen}",
        f"Class 3B or 4: controlled area, warning sign, eyewear for wavelength{span} and optical density.",
        "Lowest laser power to align. Both directions behind the filter end in a dump.",
        "No finger on an open RF connector: a watt burns. RF off before anything is unplugged.",
        "Mains: covers and earth stay on; repairs are for licensed people.",
    ]


def damage_words(strain: Strain) -> str:
    """Return what would be damaged, and by how much too much; watts are left out, as they may be too many."""
    may = f"{strain.limit:g} {strain.unit}{' or more' * strain.floor}{' (assumed)' * strain.assumed}"
    if strain.unit == "W":
        return f"{strain.part} would be damaged (it may take {may})"
    reached = strain.low if strain.floor else strain.high
    assert reached is not None
    return f"{strain.part} would be damaged by {told_apart(reached, strain.limit)} {strain.unit} (it may take {may})"
