"""What session.toml does not state of the drive and its parts, and what that costs the checklist."""

from __future__ import annotations

import math
from collections.abc import Iterator

from aotf_lab.reading.session_file import SessionFile
from aotf_lab.session.before_rf import BeforeRf

__all__ = ["missing_rows"]


def missing_rows(found: BeforeRf) -> list[tuple[str, str]]:
    """Return what session.toml does not state, and what that costs; keys of one cost stand together."""
    facts = found.facts
    costs: dict[str, list[str]] = {}
    for value, key, cost in (*_missing_of_drive(facts), *_missing_of_parts(facts)):
        if value is None:
            costs.setdefault(cost, []).append(key)
    return [(", ".join(keys), cost) for cost, keys in costs.items()]


def _missing_of_drive(facts: SessionFile) -> Iterator[tuple[object, str, str]]:
    crystal, scope, amplifier = facts.crystal, facts.instruments.scope, facts.amplifier
    yield crystal.rated_rf_power_w, "[crystal] rated_rf_power_w", "no supply can be called safe"
    yield crystal.peak_rf_power_w, "[crystal] peak_rf_power_w", "no pulse above the average is allowed"
    if (crystal.peak_rf_power_w or 0.0) > (crystal.rated_rf_power_w or math.inf):
        yield crystal.duty_limit, "[crystal] duty_limit", "only the average bounds the duty of a pulse"
    for key in ("pad_db", "probe"):
        yield getattr(scope, key), f"[instrument.scope] {key}", "RF power may be wrong by any factor: no safe supply"
    if scope.pad_db:
        yield scope.input_ohm, "[instrument.scope] input_ohm", "if it is open, it sees twice the volts"
    yield scope.load_ohm, "[instrument.scope] load_ohm", "50 ohm assumed"
    yield (
        scope.source_return_loss_db,
        "[instrument.scope] source_return_loss_db",
        "10 dB assumed; less would lower the safe supply",
    )
    match = any(f.purpose == "match" for f in facts.files) or None
    yield match, 'a [[file]] with purpose = "match"', "10 dB assumed at the crystal; less would lower the safe supply"
    yield amplifier.supply_a, "[amplifier] supply_a", "no current limit to set; a forgotten pad may go unnoticed"
    yield amplifier.rated_output_w, "[amplifier] rated_output_w", "a supply turned up is judged by readings only"


def _missing_of_parts(facts: SessionFile) -> Iterator[tuple[object, str, str]]:
    limits, scope = facts.limits, facts.instruments.scope
    assumed = "whether it survives is not known" if scope.input_ohm == 1e6 else "5 Vrms assumed for 50 ohm"
    yield limits.scope.max_input_vrms, "[instrument.scope] max_input_vrms", assumed
    if scope.pad_db != 0:
        yield (
            limits.scope.pad_rated_w, "[instrument.scope] pad_rated_w",
            "whether the pad survives is not known; a burnt pad may let everything through to the scope",
        )  # fmt: skip
    yield limits.scope.load_rated_w, "[instrument.scope] load_rated_w", "whether it survives is not known"
    yield limits.counter.pad_db, "[instrument.counter] pad_db", "what reaches the counter is not known"
    if limits.counter.pad_db:
        yield limits.counter.input_ohm, "[instrument.counter] input_ohm", "if it is open, it sees twice the volts"
    yield limits.counter.max_input_vrms, "[instrument.counter] max_input_vrms", "whether it survives is not known"
    yield limits.power_meter.max_power_mw, "[instrument.power_meter] max_power_mw", "whether it survives is not known"
    yield limits.oscillator.input_min_v, "[oscillator] input_min_v", "0 V assumed"
    yield limits.oscillator.input_max_v, "[oscillator] input_max_v", "too high a control voltage would not be noticed"
    yield limits.oscillator.supply_v, "[oscillator] supply_v", "the step that switches it on cannot say its volts"
    yield (
        limits.generator.range_v, "[generator] max_output_v",
        "what a generator could put into the control input is not known: measure before you plug it in",
    )  # fmt: skip
