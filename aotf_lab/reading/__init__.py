"""From raw files to tables in bench units, with errors, origin and a receipt.

    readings        what every reader returns: table, shared errors, receipts, sources
    counter, scope, power_log, lines, any_table    one reader for each kind of file
    instruments     accuracies of the instruments, and what is assumed where none is stated
    accuracy        gives columns the errors of the instruments
    table           raw file -> bare table;  raw_text, headers, words, cells, units serve it
    receipt, source what was understood; which file, with its hash
    session_file    session.toml (session_line, session_raw, toml_section serve it);  template writes a commented one
    wavelength_unit whether a wavelength is in nm, or slipped in as um or Angstrom
    by_purpose      reads a raw file as what session.toml says it is
    atomic          write a file whole or not at all

The only room in which a unit is converted. A raw file is opened for reading only. Where the
scatter of a reading is not stated, ``u_<column>`` is NaN for what a fit predicts (frequency, optical
power, efficiency): the fit then takes it from the scatter. For what a fit is drawn against
(drive voltage, RF power, wavelength) it is a wide default.
"""

from aotf_lab.reading.any_table import read_table
from aotf_lab.reading.by_purpose import read_raw_file
from aotf_lab.reading.counter import read_counter
from aotf_lab.reading.instruments import Counter, Instruments, PowerMeter, Scope, Voltmeter
from aotf_lab.reading.lines import read_lines
from aotf_lab.reading.power_log import read_power_log
from aotf_lab.reading.readings import Readings, as_readings, join_readings
from aotf_lab.reading.receipt import Receipt
from aotf_lab.reading.scope import read_scope_levels
from aotf_lab.reading.session_file import SessionFile, load_session_file
from aotf_lab.reading.template import write_template

__all__ = [
    "Counter",
    "Instruments",
    "PowerMeter",
    "Readings",
    "Receipt",
    "Scope",
    "SessionFile",
    "Voltmeter",
    "as_readings",
    "join_readings",
    "load_session_file",
    "read_counter",
    "read_lines",
    "read_power_log",
    "read_raw_file",
    "read_scope_levels",
    "read_table",
    "write_template",
]
