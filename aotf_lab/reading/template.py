"""Write a commented session.toml with an example of each kind of raw file."""

from __future__ import annotations

import os
from pathlib import Path

from aotf_lab.errors import Said, SessionError
from aotf_lab.reading.atomic import write_text_atomically
from aotf_lab.reading.session_file import FILE_NAME
from aotf_lab.reading.template_examples import EXAMPLES

__all__ = ["write_template"]

_SESSION = """\
# One measuring session: what the crystal, the instruments, the lines and the raw files are.
# Replace every example. A line that stays commented out never blocks: a wide assumption takes its
# place, and the report says which and what it costs. Only pad_db and probe have no wide assumption:
# while one of them is not stated, RF power from a level in volts is unknown and no set-point gives it.
#
# Every accuracy here is a standard uncertainty (k = 1). A maker's limit +-a becomes one by dividing
# by sqrt(3) (GUM 4.3.7): a time base of +-5 ppm is 2.9 ppm here.

[session]
name = "example"
note = "who, where, and what was unusual"

[crystal]
material = "TeO2"              # paratellurite
# kind = "modulator"           # a plain modulator: one carrier, no tuning curve; left out, it is a "filter"
# rated_rf_power_w = 1.0       # continuous RF power that the crystal's own papers allow
# peak_rf_power_w = 2.0        # RF power during a pulse, and the largest share of time for it; 'preflight' states both
# duty_limit = 0.3
# velocity_m_s = 617.0         # slow shear wave, if known; only the birefringence needs it
# u_velocity_m_s = 3.0
# temperature_c = 22.0         # of the crystal while its lines were scanned

[instrument.counter]
# time_base_ppm = 2.9          # relative error of the time base
# u_reading_khz = 5.0          # scatter of one reading
# pad_db = 40.0                # tap and pads between the RF line and its input, 0 when there are none
# input_ohm = 50.0             # 50 or 1e6
# max_input_vrms = 1.0         # volts that its input takes; such limits are what 'aotf-lab preflight' holds against

[instrument.voltmeter]
# gain_percent = 0.1           # error of the gain
# offset_mv = 1.0
# u_reading_mv = 2.0           # scatter of one reading

[instrument.scope]
# gain_percent = 1.5           # error of the vertical gain
# probe = 1.0                  # state it, 1 when there is none: volts shown times this are those at the tip
# pad_db = 30.0                # state it, 0 when there is none: attenuator before the scope
# u_pad_db = 0.1
# load_ohm = 50.0              # into which the RF goes
# u_load_ohm = 0.5
# bandwidth_mhz = 200.0        # at -3 dB; corrected as a single pole
# u_bandwidth_percent = 5.0    # if the fall was measured; else it may be anything from none to that of a single pole
# u_reading_percent = 1.0      # scatter of one reading
# input_ohm = 50.0             # 50 (terminated) or 1e6 (open, as behind a probe); compared with what files say
# noise_mvrms = 0.2            # what it shows as volts rms without a signal: subtracted in squares
# dc_offset_mv = 0.0           # DC that a DC-coupled input adds to volts rms; 0 when AC-coupled
# load_return_loss_db = 26.0   # of the load, and of the amplifier's output: what they reflect
# source_return_loss_db = 15.0
# max_input_vrms = 5.0         # volts that its input takes
# pad_rated_w = 2.0            # watts that the pad and the dummy load take for long
# load_rated_w = 5.0

[instrument.power_meter]
# u_reading_percent = 0.5      # scatter of one reading
# floor_uw = 1.0               # its noise in the dark
# time_constant_s = 1.0
# gain_percent = 3.0           # error of the gain; it cancels in efficiency
# max_power_mw = 50.0          # light that its head takes

# What measures spots on a screen, the analyser's angle and the position of a knife edge.
[instrument.ruler]
# u_reading_mm = 0.5           # scatter of one reading, and of the mark of the undiffracted spot
# u_distance_mm = 3.0          # of the distance from the crystal to the screen

[instrument.rotator]
# u_reading_deg = 0.5
# u_zero_deg = 1.0             # of its zero against the bench

[instrument.stage]
# u_reading_um = 5.0
# scale_percent = 0.1          # error of its scale

# What 'aotf-lab check' holds the RF power against: none can exceed what goes into the amplifier.
[amplifier]
# supply_a = 0.8               # largest current that it draws at its supply
# rated_output_w = 2.0         # RF power that it can give

# The oscillator's control input and supply, and a generator that may drive that input, as their papers state them.
[oscillator]
# input_min_v = 0.0            # between these two its control input must stay
# input_max_v = 15.0
# input_ohm = 1000.0           # of that input
# u_input_ohm = 10.0
# port_bandwidth_khz = 180.0   # of that input, -3 dB
# supply_v = 15.0              # of the oscillator itself

[generator]
# max_output_v = 10.0          # of either sign, into an open circuit: twice what a display for 50 ohm shows
# low_limit_v = 0.0            # limits set in its menu, into an open circuit, if it has any
# high_limit_v = 10.0
# source_ohm = 50.0            # its output resistance
# u_source_ohm = 0.5
# bits = 14                    # of its converter
# amplitude_step_v = 0.001     # steps of what is typed; amplitude is peak to peak
# offset_step_v = 0.001
# gain_percent = 1.0           # error of its amplitude
# offset_percent = 1.0         # error of its offset, and what of it does not grow with the offset
# u_offset_mv = 2.0

# A line: medium says whether its wavelength is stated in air (most labels) or in vacuum.
# use = "anchor" calibrates the crystal; use = "find" has its wavelength found from its frequency.
[[line]]
name = "A"
wavelength_nm = 532.05
medium = "air"
u_wavelength_nm = 0.1
use = "anchor"

[[line]]
name = "B"
wavelength_nm = 640.0
medium = "air"
u_wavelength_nm = 3.0          # a diode's label
use = "find"

# purpose is one of oscillator, scan, efficiency, lines, level, trace, match, warm_up, pushing, pulling, hunt,
# spectrum, leakage, spots, polarisation, beam_size, edge, modulation_depth, keep.
# columns maps what the heading does not say: columns = { drive_v = "Set (V)", not_used = "Note" }
# layout = "NAME.layout.toml" names a file that says how this one is written, where the file leaves that in
# doubt; 'aotf-lab layout RAWFILE --out NAME.layout.toml' writes one, to be edited by hand.
# second_log = "NAME.csv" is a log of the same run on another clock: tolerance_s says how far apart in time two
# readings may be that belong together, offset_s what is added to the times of the second (left out: it is found,
# not beyond max_offset_s), second_layout the layout of the second.
# counter_mhz is what the counter showed beside a trace; directivity_db and cable_loss_db belong to a match.
# distance_mm is that from the crystal to the screen, for spots whose file does not say it; rf_power_w the RF power
# (W, as the scope shows it) at which a lamp was scanned or a leak measured.
# block_s reduces a long log of power to the means of blocks of so many seconds.
[[file]]
path = "oscillator.csv"
purpose = "oscillator"

[[file]]
path = "scan_A_up.csv"
purpose = "scan"
line = "A"
direction = "up"

[[file]]
path = "efficiency_A.csv"
purpose = "efficiency"
line = "A"

[[file]]
path = "level.csv"
purpose = "level"

[[file]]
path = "trace.csv"             # what the scope saved: 20 periods or more, at the level of the other readings
purpose = "trace"
counter_mhz = 50.0

[[file]]
path = "match.csv"             # or a Touchstone file, NAME.s1p
purpose = "match"

[[file]]
path = "warm_up.csv"           # one drive from power-on, for an hour or two
purpose = "warm_up"

[[file]]
path = "pushing.csv"           # the oscillator's own supply stepped, its usual value again and again
purpose = "pushing"

[[file]]
path = "pulling.csv"           # another load at the amplifier, the usual one again and again
purpose = "pulling"

[[file]]
path = "hunt.csv"              # a wide sweep with every laser on
purpose = "hunt"

[[file]]
path = "spectrum.csv"          # a lamp or another laser, scanned
purpose = "spectrum"

[[file]]
path = "leakage_A.csv"         # only this line's laser on: light at frequencies of other lines, or at "off"
purpose = "leakage"
line = "A"

[[file]]
path = "spots.csv"             # where the diffracted spot falls on a screen
purpose = "spots"
distance_mm = 2000.0

[[file]]
path = "polarisation.csv"      # light behind a turning analyser, before the crystal
purpose = "polarisation"
line = "A"

[[file]]
path = "beam_size.csv"         # light past a knife edge, at the crystal
purpose = "beam_size"
line = "A"

[[file]]
path = "edge.csv"              # the light switched, on a detector; the drive on a second channel of the scope
purpose = "edge"

[[file]]
path = "modulation_depth.csv"  # the light modulated faster and faster
purpose = "modulation_depth"

[[file]]
path = "lines.csv"             # instead of scans, where the frequency of each line is already known
purpose = "lines"
"""

_FILES = {FILE_NAME: _SESSION, **EXAMPLES}


def write_template(folder: str | os.PathLike[str]) -> tuple[Path, ...]:
    """Write session.toml and one example of each kind of raw file into ``folder``; return their paths.

    The folder is made when it is not there. Nothing that exists is overwritten, and when a file
    cannot be written those already written are taken back.

    Raises ``SessionError`` when one of the files exists or the folder cannot be written.
    """
    home = Path(folder)
    there = [name for name in _FILES if (home / name).exists()]
    if there:
        raise SessionError(
            "a file of that name is already there", where=home.name, found=Said(", ".join(map(repr, there))),
            allowed="a new folder, or one without these files", cure="name another folder; nothing was written",
        )  # fmt: skip
    written: list[Path] = []
    try:
        home.mkdir(parents=True, exist_ok=True)
        for name, text in _FILES.items():
            write_text_atomically(home / name, text)
            written.append(home / name)
    except OSError as error:
        for path in written:
            path.unlink(missing_ok=True)
        raise SessionError(
            "a folder that cannot be written", where=home.name, found=Said(error.strerror or type(error).__name__),
            allowed="a folder in which files may be made", cure="name another folder; nothing was left behind",
        ) from error  # fmt: skip
    return tuple(written)
