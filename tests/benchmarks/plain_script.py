"""What a practitioner writes in an afternoon: read the same files, fit the same curves, the same number of figures.

Run as ``python plain_script.py SESSION OUT FIGURES``; it writes FIGURES SVG files into OUT. It is the yardstick of
``report_speed``, with none of the uncertainties, checks or set-points.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

import matplotlib as mpl

mpl.use("agg")

import numpy as np
import pandas as pd
from matplotlib import pyplot as plt
from scipy.ndimage import gaussian_filter1d
from scipy.optimize import curve_fit
from scipy.signal import find_peaks, lfilter
from scipy.special import erfc

KEPT = ("vco_cold", "lines_mistyped")
"""Files that the session keeps and does not read."""


def read(path: Path) -> pd.DataFrame:
    """Return the table of a file; a trace has its settings above its one column of counts, and becomes us and volts."""
    if not path.name.startswith("trace_"):
        return pd.read_csv(path, comment="#")
    said = dict(re.findall(r"^(\w[\w ]*): ([\d.]+)", path.read_text(encoding="utf-8"), re.MULTILINE))
    counts = pd.read_csv(path, skiprows=8).iloc[:, 0].to_numpy(float)
    us = 1e-3 * float(said["Sample interval"]) * np.arange(counts.size)
    return pd.DataFrame({"us": us, "V": 1e-3 * float(said["Scale"]) * (counts - float(said["Offset"]))})


def wave(t: np.ndarray, f: float, offset: float, *parts: float) -> np.ndarray:
    """Return a sine of ``f`` with its harmonics: cosine and sine parts by turns."""
    pairs = zip(parts[::2], parts[1::2], strict=True)
    turns = 2 * np.pi * f * t
    return offset + sum(a * np.cos(k * turns) + b * np.sin(k * turns) for k, (a, b) in enumerate(pairs, 1))


def allan(f: np.ndarray, m: int) -> float:
    """Return the overlapping Allan deviation of averages over ``m`` readings."""
    means = np.convolve(f, np.ones(m) / m, "valid")
    return float(np.sqrt(0.5 * np.mean((means[m:] - means[:-m]) ** 2)))


def driver(session: Path, tables: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Fit what was measured of the driver, with no uncertainty; return the tables that its figures show."""
    for name in [n for n in tables if n.startswith("trace_")]:
        t, u = tables[name].to_numpy(float).T
        bins = np.fft.rfftfreq(t.size, t[1] - t[0])
        start = [float(bins[np.argmax(np.abs(np.fft.rfft(u - u.mean())))]), 0.0, *([0.1, 0.1] * 5)]
        curve_fit(wave, t, u, p0=start)
    supply = tables["supply_to_power"].select_dtypes("number").to_numpy(float)
    curve_fit(lambda v, g, v0: g * (v - v0), supply[:, 0], supply[:, 2], p0=[0.05, 2.0])
    band = tables["level_over_band"].select_dtypes("number").to_numpy(float)
    np.polyfit(band[:, 1] / 70, band[:, -1], 6)
    log = tables["warmup_log"]
    minutes = np.arange(len(log)) / 6.0
    start = [0.3, 13.0, float(log["Counter (MHz)"].iloc[-1])]
    best, _ = curve_fit(lambda t, a, tau, f: a * np.exp(-t / tau) + f, minutes, log["Counter (MHz)"], p0=start)
    left = log["Counter (MHz)"].to_numpy() - best[0] * np.exp(-minutes / best[1])
    taus = 2 ** np.arange(8)
    pushed = tables["pushing"]
    np.polyfit(pushed["Supply (V)"], pushed["Counter (MHz)"], 1)
    match = pd.read_csv(session / "match.s1p", sep=r"\s+", skiprows=2, header=None)
    match["dB"] = -20 * np.log10(np.hypot(match[1], match[2]))
    return {"allan": pd.DataFrame({"tau": 10.0 * taus, "MHz": [allan(left, int(m)) for m in taus]}), "match": match}


def crystal(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Fit every scan, every efficiency and the tuning; return the tuning's table."""
    peaks = {}
    for name in [n for n in tables if n.startswith("scan_")]:
        f, p = tables[name]["Counter (MHz)"].to_numpy(), tables[name]["Diffracted (uW)"].to_numpy()
        start = [float(np.ptp(p)), float(f[np.argmax(p)]), 0.35, float(np.min(p))]
        best, _ = curve_fit(lambda f, a, c, w, b: a * np.sinc((f - c) / w) ** 2 + b, f, p, p0=start)
        peaks.setdefault(name[5], []).append(float(best[1]))
    for name in [n for n in tables if n.startswith("efficiency_")]:
        table = tables[name]
        light = ((table["Diffracted (uW)"] - table["Dark (uW)"]) / table["Incident (uW)"]).to_numpy()
        rms = table["Scope (Vrms)"].to_numpy()
        curve_fit(lambda v, top, full: top * np.sin(np.pi * v / (2 * full)) ** 2, rms, light, p0=[0.9, 0.15])
    nm = {"B": 473.06, "D": 556.27, "E": 588.96, "G": 671.10}
    tuning = pd.DataFrame({"nm": list(nm.values()), "MHz": [np.mean(peaks[line]) for line in nm]})
    np.polyfit(1e3 / tuning["nm"], tuning["MHz"], 2)
    return tuning


def light(tables: dict[str, pd.DataFrame], tuning: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Find the peaks of the hunt, the lamp's spectrum, leaks, angles, polarisation, beam and a place to park."""
    hunt = tables["hunt"]
    f, p = hunt["Counter (MHz)"].to_numpy(), hunt["Diffracted (uW)"].to_numpy()
    found, _ = find_peaks(p, prominence=15.0)
    peaks = []
    for k in found:
        near = abs(f - f[k]) < 0.6
        start = [float(p[k]), float(f[k]), 0.35, 3.0]
        best, _ = curve_fit(
            lambda f, a, c, w, b: a * np.sinc((f - c) / w) ** 2 + b, f[near], p[near], p0=start, maxfev=4000
        )
        peaks.append(best)
    curve = np.polyfit(tuning["MHz"], tuning["nm"], 2)
    lamps = []
    for way in ("up", "down"):
        lamp = tables[f"lamp_{way}"]
        mhz = lamp["Counter (MHz)"].to_numpy()
        per_nm = (
            (lamp["Diffracted (uW)"] - lamp["Dark (uW)"]).to_numpy() / abs(np.polyval(np.polyder(curve), mhz)) / 0.3
        )
        lamps.append(pd.DataFrame({"nm": np.polyval(curve, mhz), "uW/nm": per_nm}))
    for name in [n for n in tables if n.startswith("leakage_")]:
        leak = tables[name]
        share = (leak["Diffracted (uW)"] - leak["Dark (uW)"]) / leak["Incident (uW)"]
        10 * np.log10(share.groupby(leak["Counter (MHz)"].round(0)).mean().abs())
    spots = tables["spots"]
    np.polyfit(spots["Counter (MHz)"], spots["Spot (mm)"] / spots["Screen at (m)"], 1)
    malus = tables["polarisation_E"].to_numpy(float)
    curve_fit(
        lambda a, top, axis, b: top * np.cos(np.radians(a - axis)) ** 2 + b, malus[:, 0], malus[:, 1], p0=[1e3, 0, 1]
    )
    edge = tables["beam_size_E"].to_numpy(float)
    start = [1300.0, 10.0, 0.5, 0.0]
    curve_fit(lambda x, a, c, w, b: 0.5 * a * erfc((x - c) / w) + b, edge[:, 0], edge[:, 1], p0=start)
    grid = np.linspace(44, 96, 5201)
    lines = [b for b in peaks if b[0] > 300]
    leaks = [
        g * a * np.sinc((h * grid - c) / w) ** 2 for h, g in ((1, 1), (2, 0.04), (3, 0.01)) for a, c, w, _ in lines
    ]
    park = pd.DataFrame({"MHz": grid, "dB": 10 * np.log10(np.sum(leaks, axis=0) / max(b[0] for b in lines))})
    supplies = np.linspace(4, 11, 241)
    power = 0.0125 * (supplies - 3.1) ** 2
    drive = pd.DataFrame({"V": supplies} | {str(nm): np.sin(1.571 * np.sqrt(power / (0.4 * (nm / 589) ** 2))) ** 2
                                           for nm in tuning["nm"]})  # fmt: skip
    return {"hunt": hunt[["Counter (MHz)", "Diffracted (uW)"]], "drive": drive, "park": park}


def speed(tables: dict[str, pd.DataFrame], tuning: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Fit the edge and the depth of modulation; follow a sequence of colours through port, passband and beam."""
    edge = tables["edge_E"]
    t, u = edge["Time (us)"].to_numpy(), edge["Photodiode (mV)"].to_numpy()
    start = [410.0, 300.0, 10.0, 1.0, 30.0]
    curve_fit(lambda t, b, a, on, w, off: b + 0.5 * a * (erfc((on - t) / w) - erfc((off - t) / w)), t, u, p0=start)
    depth = tables["modulation_depth_E"].to_numpy(float)
    swing = (depth[:, 1] - depth[:, 3]) / (depth[:, 1] + depth[:, 3])
    curve_fit(
        lambda f, m, d, b: m * np.exp(-((np.pi * f * d) ** 2) / 8e6) / np.hypot(1, f / b), depth[:, 0], swing,
        p0=[0.27, 2.5, 180.0],
    )  # fmt: skip
    time = np.arange(0.0, 420.0, 0.05)
    steps = np.repeat(tuning["MHz"].to_numpy(), len(time) // len(tuning) + 1)[: len(time)]
    port = lfilter([0.055], [1.0, -0.945], steps - steps[0]) + steps[0]
    played = pd.DataFrame({"us": time, "MHz": port})
    for nm, mhz in tuning.to_numpy():
        played[f"{nm:.0f}"] = gaussian_filter1d(np.sinc((port - mhz) / 0.34) ** 2, 12.0)
    return {"edge": edge, "depth": pd.DataFrame({"kHz": depth[:, 0], "depth": swing}), "played": played}


def typed(vco: np.ndarray, tuning: pd.DataFrame) -> None:
    """Print what to type for each line, on either display."""
    for mhz in tuning["MHz"]:
        volts = float(np.interp(mhz, vco[:, 1], vco[:, 0])) * 1050 / 1000
        print(f"{mhz:.3f} MHz: {volts:.3f} V, on a display for 50 ohm {volts / 2:.3f} V")


def main(session: Path, out: Path, figures: int) -> None:
    tables = {p.stem: read(p) for p in sorted(session.glob("*.csv")) if p.stem not in KEPT}
    vco = tables["vco_warm"]
    x, y = vco["Drive voltage (V)"].to_numpy(), vco["Counter (MHz)"].to_numpy()
    curve_fit(lambda v, a, b, c, d: a + b * v + c * v**2 + d * v**3, x, y)
    efficiencies = [table for name, table in tables.items() if name.startswith("efficiency_")]
    scans = [table for name, table in tables.items() if name.startswith("scan_") and name.endswith("_up")]
    tuning = crystal(tables)
    shown = [vco, tuning, *efficiencies, *scans, *light(tables, tuning).values()]
    shown += [tables["level_over_band"], tables["supply_to_power"]]
    shown += [tables["trace_64mhz_10v"].head(130), tables["warmup_log"], *driver(session, tables).values()]
    shown += speed(tables, tuning).values()
    typed(np.sort(np.column_stack([x, y]), axis=0), tuning)
    for k in range(figures):
        table = shown[k % len(shown)].select_dtypes("number")
        rows = 2 if k < 2 + len(efficiencies) else 1  # these have their residuals below
        figure, axes = plt.subplots(rows, 1, figsize=(7.2, 4.0), layout="constrained", squeeze=False)
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
