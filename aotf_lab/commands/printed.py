"""Results as text for the place where it is printed: as wide as the terminal, else as everywhere."""

from __future__ import annotations

import shutil
import sys

__all__ = ["printed"]


def printed(*results: object) -> str:
    """Return ``results`` as text, one below the other, in lines no longer than those of the terminal, if it is one."""
    from aotf_lab.estimation.wrapped import COLUMNS, within_columns

    with within_columns(shutil.get_terminal_size().columns if sys.stdout.isatty() else COLUMNS):
        return "\n".join(map(str, results))
