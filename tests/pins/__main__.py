"""Write the numbers of the demo session anew: ``python -m tests.pins``; says first what differs from those kept.

Do it when a change is meant to move numbers, and let the difference of the file stand in that commit.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace

from aotf_lab.session import open_session
from aotf_lab.session.rerun.results import results
from tests.conftest import DEMO
from tests.house import ROOT

PINNED = ROOT / "tests" / "pins" / "skerry.json"


def main(words: Sequence[str] | None = None) -> None:
    """Write the file; ``words`` are those of the command line, which takes none but ``--help``."""
    argparse.ArgumentParser(prog="python -m tests.pins", description=__doc__).parse_args(words)
    found = results(open_session(DEMO))
    if PINNED.exists():
        print(found.differences(PINNED))
    replace(found, checks=()).to_json(PINNED)  # the numbers; what failed stands beside them in words


if __name__ == "__main__":
    main()
