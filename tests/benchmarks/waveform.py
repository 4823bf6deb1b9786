"""The sine fit on traces of known waves: ``python -m tests.benchmarks.waveform``.

Prints and writes results/waveform.md. An argument sets the number of traces of each kind (2000).
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from collections import Counter

import numpy as np
from scipy.optimize import least_squares

from aotf_lab.driver.waveform import Waveform, fit_waveform
from aotf_lab.driver.waveform.harmonics import fit_harmonics
from aotf_lab.driver.waveform.sampling import folded
from aotf_lab.errors import AotfLabError
from aotf_lab.reading import Instruments, Scope
from tests.benchmarks.table import RESULTS, markdown
from tests.benchmarks.timing import milliseconds
from tests.driver_traces import failed, trace

SAMPLES, BITS, FULL_V = 2000, 8, 2.0
STEP_V = FULL_V / 2**BITS
BAND_MHZ = (44.0, 96.0)
PLAIN = Instruments(scope=Scope(probe=1.0, pad_db=0.0, load_ohm=50.0))

ABOUT = """\
Traces of {samples} samples, {bits} bits, frequencies from 44 to 96 MHz, {traces} of each kind. Noise is added before
the rounding to steps q. The Cramer-Rao bound is that of Kay, Fundamentals of Statistical Signal Processing I, example
3.14; its noise power is that of the added noise and of the rounding together, s^2 + q^2 / 12, as if rounding were
white noise.

## Variance over the bound, and how often the 95 % interval holds the truth

A pure sine of 80 to 90 % of the screen. At 60 dB the added noise is 0.08 q: rounding is then no noise but the same
error again and again, which the bound does not know; it hits amplitude and offset, and the interval holds all the
same, as the rounding is a term of its own in u. By the number of traces alone a ratio scatters by {scatter:.1f} %.
"""


def screen_trace(rng: np.random.Generator, snr_db: float, **more) -> tuple[Waveform, dict[str, float]]:
    """Return the fit to a trace at this ratio of signal to added noise, and its truth."""
    amplitude = FULL_V / 2 * rng.uniform(0.80, 0.90)
    noise = amplitude / 2**0.5 * 10 ** (-snr_db / 20)
    room = FULL_V / 2 - 2 * STEP_V - 4 * noise  # nothing is cut off here
    content = sum(10 ** (level / 20) for level, _ in more.get("harmonics", {}).values())
    amplitude = min(amplitude, room / (1 + content))
    noise = amplitude / 2**0.5 * 10 ** (-snr_db / 20)
    true = {
        "frequency_mhz": rng.uniform(*BAND_MHZ), "amplitude_v": amplitude, "offset_v": rng.uniform(-1, 1) * STEP_V,
        "phase_rad": rng.uniform(0, 2 * np.pi), "noise_v": noise,
    }  # fmt: skip
    table = trace(
        samples=SAMPLES, bits=BITS, full_scale_v=FULL_V, seed=int(rng.integers(2**62)), **true, **more
    )  # fmt: skip
    return fit_waveform(table, PLAIN), true


def bound(amplitude: float, noise: float, interval_us: float = 1e-3) -> np.ndarray:
    """Return the least variances of frequency (MHz^2), amplitude and offset (V^2)."""
    power = noise**2 + STEP_V**2 / 12
    eta = amplitude**2 / 2 / power
    frequency = 12 / ((2 * np.pi) ** 2 * eta * SAMPLES * (SAMPLES**2 - 1)) / interval_us**2
    return np.array([frequency, 2 * power / SAMPLES, power / SAMPLES])


def variance_rows(traces: int):
    """Yield a row for each ratio of signal to noise."""
    for snr in (20, 30, 40, 50, 60):
        rng = np.random.default_rng([1, snr])
        ratios, inside = [], []
        for _ in range(traces):
            wave, true = screen_trace(rng, snr)
            found = (wave.fit.parameters["frequency (MHz)"], wave.amplitude_v, wave.offset_v)
            names = ("frequency_mhz", "amplitude_v", "offset_v")
            errors = np.array([f.n - true[name] for f, name in zip(found, names, strict=True)])
            ratios.append(errors**2 / bound(true["amplitude_v"], true["noise_v"]))
            inside.append(np.abs(errors) <= wave.fit.coverage_factor() * np.array([f.s for f in found]))
        yield [
            f"{snr} dB",
            *(f"{x:.3f}" for x in np.mean(ratios, 0)),
            *(f"{100 * x:.1f} %" for x in np.mean(inside, 0)),
        ]


def harmonics_of(rng: np.random.Generator) -> dict[int, tuple[float, float]]:
    return {k: (rng.uniform(-35, -12), rng.uniform(0, 2 * np.pi)) for k in (2, 3)}


def good_rows(traces: int):
    """Yield how often each check fails on traces with nothing wrong, and how often power and shares are covered."""
    rng, alarms, inside = np.random.default_rng(2), Counter(), []
    for _ in range(traces):
        harmonics = harmonics_of(rng)
        wave, true = screen_trace(rng, rng.uniform(25, 60), harmonics=harmonics)
        alarms.update(failed(wave))
        if wave.rf_power_w is None or wave.harmonics is None:
            continue
        k = wave.fit.coverage_factor()
        numbers = (wave.amplitude_v, *(h.shown for h in wave.harmonics[:2]))
        truths = (true["amplitude_v"], *(10 ** (level / 10) for level, _ in harmonics.values()))
        inside.append([abs(n.n - t) <= k * n.s for n, t in zip(numbers, truths, strict=True)])
    names = ("amplitude", "share of harmonic 2", "share of harmonic 3")
    for name, share in zip(names, np.mean(inside, 0), strict=True):
        yield [f"95 % interval holds the {name}", f"{100 * share:.1f} %"]
    for name in ("clipping", "rest is noise", "fundamental", "steady frequency", "steps", "even time"):
        yield [f"false alarm: {name}", f"{100 * alarms[name] / traces:.2f} %"]


def clipping_rows(traces: int):
    """Yield how often a wave cut off by this share of its crest is named, and the power error where it is not."""
    for depth in (0.01, 0.02, 0.05, 0.10, 0.20, 0.40):
        rng, named, missed = np.random.default_rng([3, int(1e3 * depth)]), 0, []
        for _ in range(traces):
            harmonics = harmonics_of(rng) if rng.random() < 0.5 else {}
            amplitude = rng.uniform(0.3, 0.9)
            x = np.linspace(0, 2 * np.pi, 1000)
            crest = np.cos(x) + sum(10 ** (d / 20) * np.cos(k * x - p) for k, (d, p) in harmonics.items())
            full = 2 * amplitude * max(crest.max(), -crest.min()) * (1 - depth)
            table = trace(
                rng.uniform(*BAND_MHZ), samples=SAMPLES, interval_ns=rng.choice([0.4, 1.0, 2.0]), amplitude_v=amplitude,
                offset_v=0.0, harmonics=harmonics, noise_v=amplitude * 10 ** (-rng.uniform(28, 60) / 20) / 2**0.5,
                full_scale_v=full, phase_rad=rng.uniform(0, 6.28), seed=int(rng.integers(2**62)),
            )  # fmt: skip
            wave = fit_waveform(table, PLAIN)
            named += "clipping" in failed(wave)
            if wave.rf_power_w is not None:
                missed.append(100 * abs((wave.amplitude_v.n / amplitude) ** 2 - 1))
        rest = f"{np.mean(missed):.2f} / {np.max(missed):.2f} %" if missed else "none given"
        yield [f"{100 * depth:g} % of the crest", f"{100 * named / traces:.1f} %", rest]


def alias_rows(traces: int):
    """Yield how often an alias is named, and the true frequency with it."""
    rng, tally = np.random.default_rng(4), Counter()
    while tally["traces"] < traces:
        true, rate = rng.uniform(*BAND_MHZ), rng.uniform(20, 80)
        if rate > 2 * true or not 0.05 * rate < folded(true, rate) < 0.45 * rate:
            continue
        tally["traces"] += 1
        table = trace(
            true, samples=SAMPLES, interval_ns=1e3 / rate, harmonics={2: (-19, 1), 3: (-24, 2)},
            phase_rad=rng.uniform(0, 6.28), seed=int(rng.integers(2**62)),
        )  # fmt: skip
        counted = fit_waveform(table, PLAIN, counter_mhz=true * (1 + rng.normal(0, 20e-6)))
        ranged = fit_waveform(table, PLAIN, expected_mhz=BAND_MHZ)
        right = [abs(f.n - true) < 4 * f.s for f in counted.unfolded_mhz]
        tally["counter"] += right == [True] and counted.rf_power_w is None
        places = [abs(f.n - true) < 4 * f.s for f in ranged.unfolded_mhz]
        tally["range"] += sum(places) == 1 and ranged.rf_power_w is None
        tally["one"] += len(places) == 1
        tally["one right"] += places == [True]
    yield ["with a counter: named, with the true frequency", f"{100 * tally['counter'] / traces:.2f} %"]
    yield [
        "by the range 44 to 96 MHz alone: named, the true frequency among those listed",
        f"{100 * tally['range'] / traces:.2f} %",
    ]
    yield ["of these one frequency only is left", f"{100 * tally['one'] / traces:.1f} %"]
    yield ["and it is the true one", f"{100 * tally['one right'] / max(tally['one'], 1):.2f} %"]


def moving_rows(traces: int):
    """Yield how often a wave that moves is named, and how often the intervals hold."""
    time = np.arange(SAMPLES) / SAMPLES
    kinds = {
        "phase walks 1 mrad per sample": lambda rng: np.cumsum(rng.normal(0, 1e-3, SAMPLES)),
        "phase walks 5 mrad per sample": lambda rng: np.cumsum(rng.normal(0, 5e-3, SAMPLES)),
        "drift of 50 kHz": lambda rng: 2 * np.pi * 0.05 * time**2,
        "drift of 250 kHz": lambda rng: 2 * np.pi * 0.25 * time**2,
    }
    for k, (kind, turned) in enumerate(kinds.items()):
        rng, named, inside = np.random.default_rng([5, k]), 0, []
        for _ in range(traces):
            turn = turned(rng)
            wave, true = screen_trace(rng, 45, turn=turn)
            mean = true["frequency_mhz"] + (turn[-1] - turn[0]) / (2 * np.pi * 1e-3 * (SAMPLES - 1))
            found = wave.fit.parameters["frequency (MHz)"]
            factor = wave.fit.coverage_factor()
            named += "rest is noise" in failed(wave)
            inside.append([
                abs(found.n - mean) <= factor * found.s,
                abs(wave.amplitude_v.n - true["amplitude_v"]) <= factor * wave.amplitude_v.s,
            ])  # fmt: skip
        yield [kind, f"{100 * named / traces:.1f} %", *(f"{100 * x:.1f} %" for x in np.mean(inside, 0))]


def noise_row(traces: int) -> str:
    """Return how often noise alone is taken for a wave."""
    rng, taken = np.random.default_rng(6), 0
    for _ in range(traces):
        table = trace(
            samples=SAMPLES, amplitude_v=0.0, noise_v=rng.uniform(0.1, 4) * STEP_V, seed=int(rng.integers(2**62))
        )
        try:
            fit_waveform(table, PLAIN)
            taken += 1
        except AotfLabError:
            pass
    return f"Noise alone is taken for a wave in {100 * taken / traces:.2f} % of traces (asked for: 0.2 %)."


def speed() -> str:
    """Return processor times as ratios: to scipy's solver, and of a long trace to a short one."""
    table, long = trace(harmonics={2: (-19, 1), 3: (-24, 2)}), trace(samples=1_000_000)
    time, signal = 1e6 * table["time_s"].to_numpy(), table["signal_v"].to_numpy()

    def theirs() -> None:
        def residual(v: np.ndarray) -> np.ndarray:
            phase = 2 * np.pi * v[0] * (time - 1.0)
            parts = (v[2 + 2 * k] * np.cos((k + 1) * phase) + v[3 + 2 * k] * np.sin((k + 1) * phase) for k in range(5))
            return v[1] + sum(parts) - signal

        least_squares(residual, [64.0, 0.0, 0.4, 0.4, *[0.01] * 8], method="lm")

    ours = milliseconds(lambda: fit_harmonics(time, signal, (1, 2, 3, 4, 5), 64.0))
    whole, million = milliseconds(lambda: fit_waveform(table)), milliseconds(lambda: fit_waveform(long), runs=1)
    return (
        f"The fit takes {ours / milliseconds(theirs):.2f} of the processor time of scipy's least_squares on the same "
        f"trace; a million samples take {million / whole:.0f} times as long as {SAMPLES}, all checks included."
    )


def main() -> None:
    traces = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    heads = ["signal over added noise", "frequency", "amplitude", "offset", "held: frequency", "amplitude", "offset"]
    about = ABOUT.format(samples=SAMPLES, bits=BITS, traces=traces, scatter=100 * (2 / traces) ** 0.5)
    parts = [f"# waveform\n\n{about}", markdown(heads, variance_rows(traces))]
    parts.append("\n## Good traces, 25 to 60 dB, harmonics 2 and 3 from -35 to -12 dBc\n")
    parts.append(markdown(["what", "share"], good_rows(traces)) + f"\n\n{noise_row(traces)}\n")
    parts.append(
        "## Clipping\n\nAmplitude, noise (28 to 60 dB), harmonics (in half of the traces) and sample rate vary.\n"
    )
    parts.append(
        markdown(["cut off", "named", "power error where power is given, mean / largest"], clipping_rows(traces))
    )
    parts.append("\n## Aliases, sampled 20 to 80 million times per second\n")
    parts.append(markdown(["what", "share"], alias_rows(traces)))
    parts.append("\n## A wave that moves, 45 dB\n\nHeld: the mean frequency over the trace, and the amplitude.\n")
    parts.append(markdown(["kind", "named", "held: frequency", "held: amplitude"], moving_rows(traces)))
    parts.append(f"\n## Speed\n\n{speed()}\n")
    text = "\n".join(parts)
    (RESULTS / "waveform.md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
