"""Levels of the published dBm table through reader and level fit; mismatch against the published table of VSWR."""

from __future__ import annotations

import numpy as np
import pytest

from aotf_lab.driver.level import fit_level, safe_supply
from aotf_lab.physics.rf import mismatch_factor_limits, mismatch_loss_db, reflection_from_return_loss
from aotf_lab.reading import Instruments, Scope, read_scope_levels
from tests.house import published

BENCH = Instruments(scope=Scope(probe=1.0, pad_db=30.0, input_ohm=50.0, u_reading_percent=0.1), harmonics=())


@pytest.mark.parametrize(("heading", "key"), [("Vrms", "Vrms"), ("Vpp", "Vpp"), ("dBm", "dBm")])
def test_watts_of_the_table_come_out_of_the_level(log, heading, key):
    # shared/rf_50ohm.csv (R = 50 ohm). A supply that makes sqrt(P) a line: 2 V to 9 V for 0 dBm to 17 dBm behind 30 dB
    rows = [r for r in published("rf_50ohm.csv") if r["dBm"] in {"4", "7", "10", "12", "14", "15", "16", "17"}]
    root = {r["dBm"]: (1000 * float(r["P_W"])) ** 0.5 for r in rows}
    lines = [f"{2 + root[r['dBm']]:.9f},64,{r[key]}" for r in rows]
    ten = next(r for r in rows if r["dBm"] == "10")
    band = [f"{2 + root['10']:.9f},{f},{ten[key]}" for f in range(44, 97, 4)]
    path = log("\n".join([f"Supply (V),Counter (MHz),Scope ({heading})", *lines, *band]))
    level = fit_level(read_scope_levels(path, BENCH))
    for row in rows:
        power = level.rf_power(2 + root[row["dBm"]], 70.0)
        assert power.n == pytest.approx(1000 * float(row["P_W"]), rel=2e-3)


def test_the_worst_phase_brackets_the_mean_loss_of_the_table():
    # shared/rf_vswr.csv: both ends alike. Mean over all phases of 1 / |1 - g^2 e^(i phase)|^2 is 1 / (1 - g^4)
    for row in published("rf_vswr.csv"):
        gamma = float(row["gamma"])
        low, high = mismatch_factor_limits(gamma, gamma)
        mean = 1 / (1 - gamma**4)
        assert low < mean < high
        # a generator that reflects as the load does: at the best phase all that it has is taken (conjugate match)
        taken = high * 10 ** (-2 * float(row["mismatch_loss_dB"]) / 10)
        assert taken == pytest.approx(1.0, abs=2e-3)


def test_reflections_of_the_table_enter_the_safe_supply(log):
    rows = {float(r["VSWR"]): r for r in published("rf_vswr.csv")}
    v, f = np.arange(4.0, 11.5, 0.5), np.arange(44.0, 97.0, 4.0)
    lines = [f"{s},64,{0.03 * (s - 3):.9f}" for s in v] + [f"8,{m},0.15" for m in f]
    level = fit_level(read_scope_levels(log("\n".join(["Supply (V),Counter (MHz),Scope (Vrms)", *lines])), BENCH))
    loss = float(rows[2.0]["return_loss_dB"])
    safe = safe_supply(level, 0.5, crystal_return_loss_db=loss, source_return_loss_db=loss)
    gamma = float(reflection_from_return_loss(loss))
    assert safe.terms[-1].factor == pytest.approx((1 - gamma**2) ** -2.0)
    assert safe.terms[-1].factor == pytest.approx(10 ** (2 * float(mismatch_loss_db(loss)) / 10), rel=1e-9)
