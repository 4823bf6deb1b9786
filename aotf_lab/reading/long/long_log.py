"""A long log of optical power reduced to block means, and the account of what became of every row."""

from __future__ import annotations

from dataclasses import dataclass

from aotf_lab.estimation.wrapped import text_lines
from aotf_lab.reading.long.blocks import Break
from aotf_lab.reading.long.correlation import Noise
from aotf_lab.reading.long.tally import Counted
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.receipt import Receipt

__all__ = ["LongLog"]


@dataclass(frozen=True)
class LongLog:
    """A log reduced to blocks.

    ``readings`` has a row per block; its columns are those of ``reduce_power_log``. Of the
    ``rows_total`` rows below the headings ``rows_taken`` went into the means and ``rows_dark`` into the dark;
    ``rejected`` counts the others by reason, ``doubtful`` those taken in doubt, ``passed`` lines that are
    no rows. ``left_out`` are the first lines of blocks without a reading. ``break_count`` breaks in time were
    found, the first few in ``breaks``. ``noise`` is the correlation found within the blocks.
    """

    readings: Readings
    rows_total: int
    rows_taken: int
    rows_dark: int
    rejected: tuple[Counted, ...]
    doubtful: tuple[Counted, ...]
    passed: tuple[Counted, ...]
    left_out: tuple[int, ...]
    breaks: tuple[Break, ...]
    break_count: int
    noise: Noise

    @property
    def receipt(self) -> Receipt:
        """How the file was understood."""
        return self.readings.receipts[-1]

    @property
    def rows_rejected(self) -> int:
        """How many rows hold no reading."""
        return sum(c.count for c in self.rejected)

    def __str__(self) -> str:
        blocks = len(self.readings.table)
        lines = [
            f"{self.receipt.file}: {self.rows_total} rows, {self.rows_taken} taken in {blocks} blocks, "
            f"{self.rows_dark} dark, {self.rows_rejected} rejected"
        ]
        lines += [f"  rejected {c}" for c in self.rejected]
        lines += [f"  in doubt {c}" for c in self.doubtful]
        lines += [f"  passed over {c}" for c in self.passed]
        lines += [f"  {note}" for note in self.receipt.notes]
        return text_lines(lines)
