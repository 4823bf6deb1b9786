"""Run every check of the project, as CI does: ``python -m tests``. Stops at the first that fails."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent

CHECKS = (
    ("ruff", "check", "."),
    ("ruff", "format", "--check", "."),
    ("mypy",),
    (
        "pytest",
        "-q",
        "-n",
        "auto",
        "--dist",
        "loadfile",
        "--cov",
        "--cov-report=term:skip-covered",
        "--cov-fail-under=92",
    ),
    ("pytest", "-q", "--nbval-lax", "notebooks"),
)


def main() -> int:
    """Run the checks in order and return the exit code of the first that fails, else 0."""
    quiet = {"MPLBACKEND": "agg", "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    for check in CHECKS:
        print("==", *check, flush=True)
        code = subprocess.run([sys.executable, "-m", *check], cwd=ROOT, env=os.environ | quiet, check=False).returncode
        if code:
            return code
    return 0


if __name__ == "__main__":
    sys.exit(main())
