"""The raw files of the invented bench about the crystal and its light: hunt, lamp, leaks, spots, beam, edges."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from aotf_lab.simulate.edge import edge_text, modulation_depth_text
from aotf_lab.simulate.hunt import HUNT_COLUMNS, hunt_sweep
from aotf_lab.simulate.leakage import leakage_run
from aotf_lab.simulate.optics import beam_size_text, polarisation_text, spots_text
from aotf_lab.simulate.spectrum import SpectrumPlan as LampPlan
from aotf_lab.simulate.spectrum import demo_lamp, diffracted_light, spectrum_scan
from aotf_lab.simulate.text import Column, csv_text
from aotf_lab.simulate.truth import SKERRY, BenchTruth

__all__ = ["crystal_files"]

_LEAKING = ("D", "E")
"""The lines whose leak was measured: neighbours, 4.8 MHz apart."""

_LEAK: tuple[Column, ...] = (
    ("Counter (MHz)", "frequency_mhz", 1.0, 3), ("Diffracted (uW)", "optical_power_mw", 1e3, 1),
    ("Incident (uW)", "incident_power_mw", 1e3, 1), ("Dark (uW)", "dark_power_mw", 1e3, 1),
)  # fmt: skip


def crystal_files(
    stream: Callable[[str], np.random.Generator], truth: BenchTruth = SKERRY
) -> Iterator[tuple[str, str]]:
    """Yield name and text of each file; ``stream`` gives each file its own errors by name."""
    hunt = hunt_sweep(stream("hunt.csv"), truth)
    yield "hunt.csv", csv_text("all seven lasers on, one sweep up without waiting for the head", hunt, HUNT_COLUMNS)
    yield from _lamp(stream, truth)
    for name in _LEAKING:
        file = f"leakage_{name}.csv"
        table = leakage_run(stream(file), truth.line(name), truth=truth)
        yield file, csv_text(f"only laser {name} on, filter set to the peak of each line in turn", table, _LEAK)
    yield "spots.csv", spots_text(stream("spots.csv"), truth)
    yield "polarisation_E.csv", polarisation_text(stream("polarisation_E.csv"), "E", truth)
    yield "beam_size_E.csv", beam_size_text(stream("beam_size_E.csv"), "E", truth)
    yield "edge_E.csv", edge_text(stream("edge_E.csv"), truth)
    yield "modulation_depth_E.csv", modulation_depth_text(stream("modulation_depth_E.csv"), truth)


def _lamp(stream: Callable[[str], np.random.Generator], truth: BenchTruth) -> Iterator[tuple[str, str]]:
    lamp, plan = demo_lamp(), LampPlan()
    light = diffracted_light(plan.frequency_mhz("up"), plan.rf_power_w, lamp, truth.crystal)
    for direction in ("up", "down"):
        file = f"lamp_{direction}.csv"
        table = spectrum_scan(stream(file), lamp, direction, truth, plan, light)
        yield file, csv_text(f"a white LED in place of the lasers, 0.25 W, stepped {direction}", table, HUNT_COLUMNS)
