"""From raw files to tables in bench units, with errors, origin and a receipt.

    readings        what every reader returns: table, shared errors, receipts, sources
    counter, scope, power_log, lines, any_table    one reader for each kind of file;
    trace, touchstone, coupler, counted_log        and of the driver: scope traces, .s1p, reflection, logs at one drive
    spots, moved_optics                            and of the light: orders on a screen, polarisation, size of the beam
    instruments     accuracies of the instruments, and what is assumed where none is stated (optics_tools: ruler, ...)
    accuracy        gives columns the errors of the instruments
    table           raw file -> bare table, by way of four wings:
        text        bytes -> grid of cells: encoding, separator, decimal mark, where the headings stand
        shape       what headings and rows mean together, with headers, heading_words and words
        cells       one column of cells -> numbers, marks of instruments, words;  units: the one table of units
        clock       stamps -> elapsed time; two logs on two clocks joined
    layout          what a person states of an export instead of having it found;  layout_file keeps it as TOML
    receipt, source what was understood (receipt_html: for a browser); which file, with its hash
    sanity          what looks wrong in readings, and the likely cause
    long            logs too long to be kept in memory, reduced to block means
    session_file    session.toml (session_line, _day, _raw, _beside, _limits, toml_section serve it);  template one
    wavelength_unit whether a wavelength is in nm, or slipped in as um or Angstrom
    by_purpose      reads a raw file as what session.toml says it is
    atomic          write a file whole or not at all;  hashed_json  text that tells whether it was changed since

The only room in which a unit is converted. A raw file is opened for reading only. Where the
scatter of a reading is not stated, ``u_<column>`` is NaN for what a fit predicts (frequency, optical
power, efficiency): the fit then takes it from the scatter. For what a fit is drawn against
(drive voltage, RF power, wavelength) it is a wide default.
"""

from aotf_lab.reading.any_table import read_table
from aotf_lab.reading.by_purpose import read_raw_file
from aotf_lab.reading.clock.joined import JoinedLogs, join_logs
from aotf_lab.reading.counted_log import read_counted_log
from aotf_lab.reading.counter import read_counter
from aotf_lab.reading.coupler import read_reflection
from aotf_lab.reading.edge import read_edge
from aotf_lab.reading.instruments import Counter, Instruments, PowerMeter, Rotator, Ruler, Scope, Stage, Voltmeter
from aotf_lab.reading.layout import Layout, StatedColumn
from aotf_lab.reading.layout_file import load_layout, write_layout
from aotf_lab.reading.lines import read_lines
from aotf_lab.reading.long import LongLog, reduce_power_log
from aotf_lab.reading.modulation import read_modulation
from aotf_lab.reading.moved_optics import read_analyser, read_knife_edge
from aotf_lab.reading.power_log import read_power_log
from aotf_lab.reading.readings import Readings, as_readings, join_readings
from aotf_lab.reading.receipt import Receipt
from aotf_lab.reading.sanity import Suspicion, suspicions, suspicions_between
from aotf_lab.reading.scope import read_scope_levels
from aotf_lab.reading.session_file import SessionFile, load_session_file
from aotf_lab.reading.spots import read_spots
from aotf_lab.reading.template import write_template
from aotf_lab.reading.touchstone import read_touchstone
from aotf_lab.reading.trace import read_trace

__all__ = [
    "Counter",
    "Instruments",
    "JoinedLogs",
    "Layout",
    "LongLog",
    "PowerMeter",
    "Readings",
    "Receipt",
    "Rotator",
    "Ruler",
    "Scope",
    "SessionFile",
    "Stage",
    "StatedColumn",
    "Suspicion",
    "Voltmeter",
    "as_readings",
    "join_logs",
    "join_readings",
    "load_layout",
    "load_session_file",
    "read_analyser",
    "read_counted_log",
    "read_counter",
    "read_edge",
    "read_knife_edge",
    "read_lines",
    "read_modulation",
    "read_power_log",
    "read_raw_file",
    "read_reflection",
    "read_scope_levels",
    "read_spots",
    "read_table",
    "read_touchstone",
    "read_trace",
    "reduce_power_log",
    "suspicions",
    "suspicions_between",
    "write_layout",
    "write_template",
]
