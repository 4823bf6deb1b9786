"""The simulated raw files of spots, analyser and knife edge are read as what they are."""

from __future__ import annotations

import numpy as np

from aotf_lab.reading import Instruments, Rotator, Ruler, Stage, read_analyser, read_knife_edge, read_spots
from aotf_lab.simulate.optics import beam_size_text, polarisation_text, spots_text


def test_raw_files_are_understood(log):
    bench = Instruments(ruler=Ruler(0.4, 3.0), rotator=Rotator(0.3, 0.7), stage=Stage(4.0, 0.1))
    rng = np.random.default_rng(5)
    spots = read_spots(log(spots_text(rng), "spots.csv"), bench)
    turned = read_analyser(log(polarisation_text(rng), "polarisation.csv"), bench)
    edge = read_knife_edge(log(beam_size_text(rng), "beam_size.csv"), bench)
    assert spots.table["distance_mm"].tolist() == [2000.0] * 8
    assert spots.table["label"].tolist() == ["B", "B", "D", "D", "E", "E", "G", "G"]
    assert {e.name for e in spots.common} == {
        "mark of the undiffracted spot", "distance to the screen", "counter time base",
    }  # fmt: skip
    assert (len(turned.table), turned.table["u_analyser_deg"].unique().tolist()) == (25, [0.3])
    assert (len(edge.table), edge.table["u_position_mm"].unique().tolist()) == (34, [0.004])
    assert not turned.table["u_optical_power_mw"].isna().any()
    assert not edge.table["u_optical_power_mw"].isna().any()


def test_the_same_seed_gives_the_same_file():
    assert spots_text(np.random.default_rng(7)) == spots_text(np.random.default_rng(7))
    assert spots_text(np.random.default_rng(7)) != spots_text(np.random.default_rng(8))
