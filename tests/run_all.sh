#!/usr/bin/env bash
# Every check of the project, from the environment on PATH. Stops at the first that fails.
set -euo pipefail
cd "$(dirname "$0")/.."
export MPLBACKEND=agg OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1
ruff check .
ruff format --check .
mypy
python -m pytest --cov --cov-report=term:skip-covered --cov-fail-under=90 -q
python -m pytest --nbval-lax -q notebooks
