"""A command of ``aotf-lab`` with all that its ``--help`` has to say."""

from __future__ import annotations

import argparse
from typing import Any

__all__ = ["SESSION", "add_command"]

SESSION = "folder with session.toml and the raw files"


def add_command(commands: Any, name: str, short: str, says: str, example: str) -> argparse.ArgumentParser:
    """Add the command to ``commands``, the parser's, and return its own parser.

    ``short`` stands in the list of commands, ``says`` what it does and what it writes, ``example`` what to type.
    """
    parser: argparse.ArgumentParser = commands.add_parser(
        name, help=short, description=says, epilog=f"example:  aotf-lab {example}"
    )
    return parser
