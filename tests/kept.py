"""Small calibrations for tests, and files of them that were changed on purpose."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from aotf_lab.record import CrystalRecord, OscillatorRecord, StoredNumbers, record_text


def small_oscillator(name: str = "Skerry", measured: str = "2031-03-02", moved_mhz: float = 0.0) -> OscillatorRecord:
    """Return a calibration of six knots whose numbers share a time base of 15 ppm."""
    drive_v = np.array([0.0, 2.0, 4.0, 6.0, 8.0, 10.0])
    values = 40.0 + 5.0 * drive_v - 0.05 * drive_v**2 + moved_mhz
    rest = 0.004**2 * np.exp(-np.abs(drive_v[:, None] - drive_v) / 3.0)
    names = tuple(f"frequency at {v:g} V" for v in drive_v)
    numbers = StoredNumbers(names, values, {"counter time base": 15e-6 * values}, rest)
    return OscillatorRecord(name=name, measured=measured, drive_v=drive_v, numbers=numbers, u_reading_mhz=0.009)


def small_crystal(name: str = "Skerry", measured: str = "2031-03-02") -> CrystalRecord:
    """Return a calibration of five knots and two lines; line Y has no passband, line Z no wavelength."""
    nm = np.array([450.0, 500.0, 550.0, 600.0, 650.0])
    tuning = 38000.0 / nm * (1.0 + 0.02 * (500.0 / nm) ** 2)
    values = np.array([*tuning, 65.0, 0.3, 71.0])
    names = (*(f"tuning {w:.2f} nm" for w in nm), "peak X", "fwhm X", "peak Y")
    u = np.array([0.02, 0.015, 0.01, 0.015, 0.02, 0.002, 0.001, 0.003])
    numbers = StoredNumbers(names, values, {"counter time base": 15e-6 * values}, np.diag(u**2))
    lines = {"X": 587.0, "Y": 540.0, "Z": float("nan")}
    return CrystalRecord(name=name, measured=measured, wavelengths_nm=nm, lines=lines, numbers=numbers)


def changed_file(
    record: OscillatorRecord | CrystalRecord,
    path: Path,
    change: Callable[[dict[str, Any]], None],
    *,
    hashed: bool = True,
) -> Path:
    """Write ``record`` after ``change`` of what its file says, its hash (``hashed``) made to fit; return the path."""
    body = json.loads(record_text(record))
    change(body)
    if hashed:
        said = {key: value for key, value in body.items() if key != "sha256"}
        text = json.dumps(said, separators=(",", ":"))
        body["sha256"] = hashlib.sha256(text.encode("ascii")).hexdigest()
    path.write_text(json.dumps(body), encoding="utf-8")
    return path
