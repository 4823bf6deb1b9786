"""The session.toml of the invented bench: what its honest owner knows and states, which is not the truth."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from types import MappingProxyType

from aotf_lab.simulate.faults import NO_FAULTS, Faults
from aotf_lab.simulate.light import CRYSTAL_TEMPERATURE_C
from aotf_lab.simulate.match import SKERRY_MATCH
from aotf_lab.simulate.raw_files import MISTYPED_NM
from aotf_lab.simulate.truth import SKERRY, BenchTruth, LineTruth

__all__ = ["DEMO_DATE", "session_text"]

DEMO_DATE = "2026-03-16"
"""The day of the demo session (invented): 120 and 410 days before the later ones."""

_HEAD = """\
# The bench "Skerry": invented, as is every reading in this folder.
# Accuracies are standard uncertainties (k = 1), taken from data sheets and from repeated readings.

[session]
name = "Skerry"
date = {date}
note = "{note}"

[crystal]
material = "TeO2"
rated_rf_power_w = {rated:.2f}        # continuous, at the connector
peak_rf_power_w = {rated:.2f}         # its papers allow no more in pulses
velocity_m_s = 645.0
u_velocity_m_s = 4.0
temperature_c = {crystal:.1f}

[instrument.counter]
time_base_ppm = 15.0           # data sheet, +-25 ppm
u_reading_khz = 4.5            # twenty readings at one setting
pad_db = 20.0                  # between the RF line and its input
input_ohm = 50.0
max_input_vrms = 3.0

[instrument.voltmeter]
gain_percent = 0.1
offset_mv = 1.0
u_reading_mv = 2.0

[instrument.scope]
gain_percent = 2.5             # data sheet, +-3 % at low frequency, and flatness
probe = 1.0
pad_db = 30.0
u_pad_db = 0.1
load_ohm = 50.0
u_load_ohm = 0.5
bandwidth_mhz = 200.0
u_reading_percent = 0.6
input_ohm = 50.0               # terminated behind the pad
u_bandwidth_percent = 5.0      # the fall measured once with a levelled source
load_return_loss_db = 26.0
source_return_loss_db = 15.0   # the amplifier's output
max_input_vrms = 5.0
pad_rated_w = 2.0
load_rated_w = 5.0

[instrument.power_meter]
u_reading_percent = 1.3        # with the lasers' wander
floor_uw = 1.2
time_constant_s = 1.0
gain_percent = 3.0
max_power_mw = 100.0

[instrument.ruler]
u_reading_mm = 0.5
u_distance_mm = 4.0

[instrument.rotator]
u_reading_deg = 0.4
u_zero_deg = 1.0

[instrument.stage]
u_reading_um = 5.0
scale_percent = 0.1

[instrument.detector]
rise_us = 0.22                 # the photodiode alone, 10 to 90 %
u_rise_us = 0.02

[amplifier]
supply_a = 0.5                 # where its supply's current limit stands
rated_output_w = 2.0

[oscillator]
input_min_v = 0.0
input_max_v = 15.0
input_ohm = 1000.0
u_input_ohm = 10.0             # measured
supply_v = 15.0
port_bandwidth_khz = 180.0     # -3 dB, by a sine at the port and a counter's deviation

[generator]
max_output_v = 10.0
low_limit_v = 0.0              # set in its menu
high_limit_v = 10.0
source_ohm = 50.0
u_source_ohm = 0.5
bits = 14
amplitude_step_v = 0.001       # what its display shows, peak to peak
offset_step_v = 0.001
gain_percent = 1.0             # data sheet
offset_percent = 1.0           # data sheet: 1 % and 2 mV
u_offset_mv = 2.0
"""

_PLAYS = """\
[[play]]
name = "green and yellow in turn"
lines = ["D", "E"]

[[play]]
name = "yellow on and off"
lines = ["E", "park"]

[[play]]
name = "four colours"
lines = ["C", "D", "E", "G"]

[[play]]
name = "green to red, then dark"
lines = ["D", "E", "F", "G", "park"]
dwell_us = [120, 60, 60, 120, 40]

[[play]]
name = "sine over yellow and red"
lines = ["E", "F"]
rate_khz = 1.0
"""


_NOTE = "invented demo bench; seven lines through one filter, oscillator warm, room at 22 C"

_PURPOSES = {
    "vco": "oscillator", "level": "level", "supply": "level", "warmup": "warm_up", "pushing": "pushing",
    "hunt": "hunt", "spots": "spots",
}  # fmt: skip
_OF_A_LINE = {"efficiency": "efficiency", "leakage": "leakage", "polarisation": "polarisation", "beam": "beam_size",
              "edge": "edge", "modulation": "modulation_depth"}  # fmt: skip


def session_text(
    files: Iterable[str],
    truth: BenchTruth = SKERRY,
    faults: Faults = NO_FAULTS,
    counted: Mapping[str, float] = MappingProxyType({}),
    *,
    note: str = _NOTE,
    crystal_c: float = CRYSTAL_TEMPERATURE_C,
    date: str = DEMO_DATE,
) -> str:
    """Return session.toml for these raw files; ``counted`` is what the counter showed (MHz) beside each trace.

    ``note`` is what its owner says of the day ``date``, ``crystal_c`` what the thermometer at the crystal shows.

    >>> print(session_text(["scan_E_up.csv"])[-79:], end="")
    [[file]]
    path = "scan_E_up.csv"
    purpose = "scan"
    line = "E"
    direction = "up"
    """
    parts = [_HEAD.format(rated=truth.crystal.rated_power_w, note=note, crystal=crystal_c, date=date)]
    parts += ["\n".join(_line(line, faults)) + "\n" for line in truth.lines]
    parts += ["\n".join(_file(name, counted)) + "\n" for name in files]
    parts += [_PLAYS] if "edge_E.csv" in files else []
    return "\n".join(parts)


def _line(line: LineTruth, faults: Faults) -> Iterator[str]:
    stated = MISTYPED_NM.get(line.name, line.label_nm) if faults.mistyped_anchor else line.label_nm
    yield "[[line]]"
    yield f'name = "{line.name}"'
    yield f"wavelength_nm = {stated:.2f}" if line.anchor else f"wavelength_nm = {stated:.1f}          # a diode's label"
    yield 'medium = "air"'
    yield f"u_wavelength_nm = {line.u_label_nm:.2f}" if line.anchor else f"u_wavelength_nm = {line.u_label_nm:.1f}"
    yield f'use = "{"anchor" if line.anchor else "find"}"'


def _file(name: str, counted: Mapping[str, float]) -> Iterator[str]:
    kind, *rest = name.partition(".")[0].split("_")
    yield "[[file]]"
    yield f'path = "{name}"'
    if kind == "scan":
        yield 'purpose = "scan"'
        yield f'line = "{rest[0]}"'
        yield f'direction = "{rest[1]}"'
    elif kind in _OF_A_LINE:
        yield f'purpose = "{_OF_A_LINE[kind]}"'
        yield f'line = "{rest[-1]}"'
        if kind == "leakage":
            yield "rf_power_w = 0.48           # as the scope shows it"
    elif kind == "lamp":
        yield 'purpose = "spectrum"'
        yield "rf_power_w = 0.27           # as the scope shows it"
        yield f'direction = "{rest[0]}"'
    elif kind == "trace":
        yield 'purpose = "trace"'
        yield f"counter_mhz = {counted[name]:.4f}"
    elif kind == "match":
        yield 'purpose = "match"'
        yield f"directivity_db = {SKERRY_MATCH.directivity_db:.0f}"
    elif name in ("lines_mistyped.csv", "vco_cold.csv"):
        yield 'purpose = "keep"'
    else:
        yield f'purpose = "{_PURPOSES[kind]}"'
