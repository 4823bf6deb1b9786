"""What a practitioner writes in an afternoon: read the same files, four curve_fits, the same number of figures.

Run as ``python plain_script.py SESSION OUT FIGURES``; it writes FIGURES SVG files into OUT. It is the yardstick of
``report_speed``, with none of the uncertainties, checks or set-points.
"""

from __future__ import annotations

import sys
from pathlib import Path

import matplotlib as mpl

mpl.use("agg")

import numpy as np
import pandas as pd
from matplotlib import pyplot as plt
from scipy.optimize import curve_fit


def main(session: Path, out: Path, figures: int) -> None:
    tables = {p.stem: pd.read_csv(p, comment="#") for p in sorted(session.glob("*.csv"))}
    vco = tables["vco_warm"]
    x, y = vco["Drive voltage (V)"].to_numpy(), vco["Counter (MHz)"].to_numpy()
    curve_fit(lambda v, a, b, c, d: a + b * v + c * v**2 + d * v**3, x, y)
    for name in ("scan_B_up", "scan_D_up", "scan_E_up"):
        f, p = tables[name]["Counter (MHz)"].to_numpy(), tables[name]["Diffracted (uW)"].to_numpy()
        start = [float(np.ptp(p)), float(f[np.argmax(p)]), 0.35, float(np.min(p))]
        curve_fit(lambda f, a, c, w, b: a * np.sinc((f - c) / w) ** 2 + b, f, p, p0=start)
    shown = list(tables.values())
    for k in range(figures):
        table = shown[k % len(shown)].select_dtypes("number")
        figure, axes = plt.subplots(2 if k < 2 else 1, 1, figsize=(7.2, 4.0), layout="constrained", squeeze=False)
        for ax in axes[:, 0]:
            ax.plot(table.iloc[:, 0], table.iloc[:, -1], "o", label="readings")
            ax.plot(table.iloc[:, 0], table.iloc[:, -1], "-", label="line")
            ax.set_xlabel(str(table.columns[0]))
            ax.set_ylabel(str(table.columns[-1]))
            ax.legend()
        figure.savefig(out / f"{k}.svg")
        plt.close(figure)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3]))
