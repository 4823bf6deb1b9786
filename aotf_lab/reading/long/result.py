"""From gathered blocks to the table of readings and the account of a long log."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.accuracy import add_drive_errors, add_frequency_errors, add_optical_errors
from aotf_lab.reading.instruments import Instruments
from aotf_lab.reading.long.blocks import GAP_STEPS, Account, Gatherer
from aotf_lab.reading.long.correlation import SHORT, BlockScatter
from aotf_lab.reading.long.long_log import LongLog
from aotf_lab.reading.long.plan import BESIDE, Plan
from aotf_lab.reading.long.tally import Tallies
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.receipt import ColumnReceipt, FlaggedRow, Receipt, RejectedRow
from aotf_lab.reading.shape.account import encoding_said
from aotf_lab.reading.shape.heading import Heading
from aotf_lab.reading.source import SourceFile

__all__ = ["long_log"]

Array = NDArray[np.float64]

_COUNTS = {
    "rows": "rows", "rows_over_range": "OVER_RANGE", "rows_gap": "GAP", "rows_ragged": "RAGGED",
    "rows_in_doubt": "doubt", "rows_dark": "dark",
}  # fmt: skip
_NAMED = 5


def long_log(
    gathered: Gatherer,
    tallies: Tallies,
    plan: Plan,
    source: SourceFile,
    dark_mw: float | None,
    instruments: Instruments,
) -> LongLog:
    """Return what was gathered as block means with their uncertainty, receipt and counts.

    Raises ``ReadingError`` when no row holds a reading.
    """
    if gathered.light.empty:
        raise _nothing(gathered, tallies, plan)
    scatter, block = gathered.light.scatter(), gathered.light.block
    dark, u_dark, dark_note = _dark(gathered, block, plan, dark_mw)
    table = pd.DataFrame({"time_s": gathered.light.time}) if plan.has_time else pd.DataFrame(index=range(len(block)))
    table["optical_power_mw"] = scatter.mean - (0.0 if plan.number("dark_power_mw") else dark)
    table["u_optical_power_mw"] = np.hypot(scatter.u, u_dark)
    table["spread_mw"] = scatter.spread
    table["subtracted_dark_mw"] = dark
    for name in (c.column for c in plan.numbers if c.column in BESIDE):
        with np.errstate(invalid="ignore"):
            table[name] = (gathered.total(name) / gathered.total(f"n {name}"))[block]
    table["rows_taken"] = scatter.count
    for name, kind in _COUNTS.items():
        table[name] = gathered.total(kind)[block].astype(np.int64)
    table["file"] = plan.name
    lines = gathered.first_lines
    table["line"] = lines[block]
    left_out = np.setdiff1d(np.arange(len(lines)), block)
    notes = (dark_note, *_noise_notes(scatter), *_block_notes(gathered, lines[left_out], plan), *plan.notes)
    readings = Readings(
        table, (), (_receipt(plan, int(scatter.count.sum()), gathered.accounts, tallies, notes),), (source,)
    )
    readings = _with_errors(readings, instruments)
    return LongLog(
        readings, gathered.rows, int(scatter.count.sum()), int(gathered.total("dark").sum()),
        tallies.rejected.counted(), tallies.doubtful.counted(), tallies.passed.counted(),
        tuple(lines[left_out].tolist()), tuple(gathered.breaks), gathered.break_count, scatter.noise,
    )  # fmt: skip


def _nothing(gathered: Gatherer, tallies: Tallies, plan: Plan) -> ReadingError:
    counted = "; ".join(map(str, tallies.rejected.counted()[:3]))
    dark = "" if gathered.dark.empty else "every reading is marked dark"
    return ReadingError(
        "no row left with a reading", where=plan.place(plan.body_line),
        found=Said(counted or dark or "no row below the headings"), allowed="at least one row with optical power",
        cure="measure again, or map or leave out the column with the gaps",
    )  # fmt: skip


def _dark(gathered: Gatherer, block: NDArray[np.int64], plan: Plan, dark_mw: float | None) -> tuple[Array, Array, str]:
    """Return the dark of every block, its u, and in words where it came from."""
    zero = np.zeros(len(block))
    column = plan.number("dark_power_mw")
    if column is not None:
        mean = gathered.total("subtracted")[block] / gathered.light.scatter().count
        return mean, zero, f"dark: column {column.header!r} subtracted row by row; its scatter is in u"
    if not gathered.dark.empty:
        found, at = gathered.dark.scatter(), gathered.dark.block
        u = np.where(np.isnan(found.u), np.nanmedian(found.u) if np.isfinite(found.u).any() else np.nan, found.u)
        lower = np.clip(np.searchsorted(at, block, side="right") - 1, 0, len(at) - 1)
        upper = np.minimum(lower + 1, len(at) - 1)
        width = np.maximum(at[upper] - at[lower], 1)
        weight = np.clip((block - at[lower]) / width, 0.0, 1.0)
        mean = (1 - weight) * found.mean[lower] + weight * found.mean[upper]
        u_mean = np.hypot((1 - weight) * u[lower], weight * u[upper])
        said = f"dark: {int(found.count.sum())} rows marked dark in {len(at)} blocks, interpolated between them"
        if not np.isfinite(u).any():
            return mean, zero, f"{said}; they do not scatter, so the u of the dark is unknown and not in u"
        return mean, u_mean, f"{said}; the u of the dark is in u, and neighbouring blocks share it"
    if dark_mw is not None:
        return zero + dark_mw, zero, f"dark: {dark_mw:g} mW as stated; its own u is not in u"
    return zero, zero, "no dark reading: the meter's zero stays in the optical power"


def _noise_notes(scatter: BlockScatter) -> list[str]:
    noise, notes = scatter.noise, []
    if not np.isfinite(noise.inefficiency):
        notes.append(f"no block of {SHORT} rows or more: u takes the rows as independent of each other")
    else:
        notes.append(
            f"noise within blocks: {noise.inefficiency:.3g} rows count as one independent reading, from means of "
            f"batches of {noise.batch_rows} rows"
        )
        if not noise.settled:
            notes.append("the noise is correlated over as long as the blocks: u is a lower limit; take longer blocks")
    if scatter.own.any():
        notes.append(f"{np.count_nonzero(scatter.own)} blocks drift or change within: u from their own batches, larger")
    if scatter.borrowed.any():
        notes.append(
            f"{np.count_nonzero(scatter.borrowed)} blocks of fewer than {SHORT // 2} rows: u from the usual spread"
        )
    frozen = int(np.count_nonzero(np.isnan(scatter.u)))
    if frozen:
        notes.append(f"{frozen} blocks do not scatter at all (a frozen meter, or one row): u unknown from the readings")
    return notes


def _block_notes(gathered: Gatherer, left_out: NDArray[np.int64], plan: Plan) -> list[str]:
    notes = []
    if len(left_out):
        lines = ", ".join(map(str, left_out[:_NAMED].tolist())) + (", ..." if len(left_out) > _NAMED else "")
        notes.append(f"{len(left_out)} blocks without a reading left out, beginning at line {lines}")
    if gathered.break_count:
        each = ", ".join(
            f"line {b.line} ({'clock set back' if b.step_s < 0 else 'pause'} of {abs(b.step_s):.6g} s)"
            for b in gathered.breaks
        )
        more = ", ..." if gathered.break_count > len(gathered.breaks) else ""
        notes.append(
            f"{gathered.break_count} breaks in time (back, or over {GAP_STEPS:g} steps) end a block: {each}{more}"
        )
    if not plan.has_time:
        notes.append("no time: breaks in time cannot be seen")
    return notes


def _receipt(plan: Plan, rows: int, accounts: dict[str, Account], tallies: Tallies, notes: tuple[str, ...]) -> Receipt:
    columns = tuple(_column_receipt(h, plan, accounts.get(h.column)) for h in plan.headings)
    rejected = sorted(
        (RejectedRow(line, text, c.reason) for c in tallies.rejected.counted() for line, text in c.first),
        key=lambda r: r.line,
    )
    flagged = sorted(
        (FlaggedRow(line, text, c.reason) for c in tallies.doubtful.counted() for line, text in c.first),
        key=lambda r: r.line,
    )
    encoding, separator, decimal = encoding_said(plan.form)
    return Receipt(
        plan.name, rows, columns, tuple(rejected), notes, tuple(flagged), encoding, separator, decimal,
        plan.settings, plan.clock.start if plan.clock else None, plan.found,
    )  # fmt: skip


def _column_receipt(heading: Heading, plan: Plan, account: Account | None) -> ColumnReceipt:
    read = {c.position: c.unit for c in plan.numbers}
    marks = {m.position for m in (plan.dark, plan.clock) if m is not None}
    if heading.position in marks:
        said = heading.evidence if heading.column else "its words tell dark rows from light ones"
        return ColumnReceipt(heading.header, heading.column or "dark or light", "", said)
    if heading.position not in read:
        return ColumnReceipt(heading.header, "", "", f"not reduced: {heading.evidence}")
    unit = read[heading.position]
    symbol = unit.symbol if unit else heading.unit.symbol if heading.unit else ""
    receipt = ColumnReceipt(heading.header, heading.column, symbol, heading.evidence)
    if account is None:
        return receipt
    return replace(
        receipt, count=account.count, low=account.low, high=account.high, first=account.first, last=account.last
    )


def _with_errors(readings: Readings, instruments: Instruments) -> Readings:
    """Return the block means with what all of them share: the errors of the instruments."""
    readings = add_optical_errors(readings, instruments)
    if "frequency_mhz" in readings.table.columns:
        readings = add_frequency_errors(readings, instruments)
    if "drive_v" in readings.table.columns:
        readings = add_drive_errors(readings, instruments)
    return replace(readings, table=readings.table)
