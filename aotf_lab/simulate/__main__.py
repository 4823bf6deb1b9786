"""Write the invented demo bench: ``python -m aotf_lab.simulate FOLDER [--seed N] [--day N]``.

Exit codes: 0 done, 1 the folder cannot be used (one sentence says why), 2 wrong usage.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from aotf_lab.errors import AotfLabError
from aotf_lab.simulate.later import LATER_DAYS, simulate_later
from aotf_lab.simulate.write import DEMO_SEED, simulate_session

__all__ = ["main"]


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the session and return the exit code."""
    parser = argparse.ArgumentParser("python -m aotf_lab.simulate", description="Write the invented bench Skerry.")
    parser.add_argument("folder", type=Path, metavar="FOLDER", help="a new folder for the raw files")
    parser.add_argument(
        "--seed", type=_seed, default=DEMO_SEED, help="of the readings' errors, 0 or more (default: the demo's)"
    )
    parser.add_argument(
        "--day", type=int, choices=(0, *LATER_DAYS), default=0, help="of the session (default: the first, 0)"
    )
    options = parser.parse_args(arguments)
    try:
        if options.day:
            folder = simulate_later(options.folder, options.day, options.seed)
        else:
            folder = simulate_session(options.folder, options.seed)
    except AotfLabError as error:
        sys.stderr.write(f"aotf_lab.simulate: {error}\n")
        return 1
    sys.stdout.write(f"{folder} written; everything in it is invented\n")
    return 0


def _seed(text: str) -> int:
    """Return the seed that ``text`` states; argparse turns the error into exit code 2."""
    if not (text.isascii() and text.isdigit()):
        raise argparse.ArgumentTypeError(
            f"not a seed; found {text!r}; allowed: a whole number, 0 or more; leave it out for the demo's"
        )
    return int(text)


if __name__ == "__main__":
    sys.exit(main())
