"""Does the worst eye hold, and is the bit error rate right? ``python -m tests.benchmarks.eye``.

Prints and writes results/eye.md. An argument sets the number of channels of each kind (1000).
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from dataclasses import replace

import numpy as np

from aotf_lab.timing.eye import Channel, openings, simulated_eye
from tests.benchmarks.table import write_table

KINDS = (("equal edges", 1.0, 0.0), ("fall 0.7 to 1.4 of the rise", 1.4, 0.0), ("equal edges, jitter", 1.0, 0.03))
DRAWS = 40
ABOUT = """
Channels drawn at random: rise 0.5 to 3 us, contrast 20 to 5,000, bits of 0.7 to 1.6 rises, jitter (where there is any)
up to 3 % of the rise, noise that makes Q of the worst pattern 1 to 3. Each sends one period of 511 pseudo-random bits.

"opening short" is the exact worst opening less the simulated one without jitter (shares of the light when on): above
zero only by rounding, and zero where the sequence holds the worst pattern. "outside, jitter" counts bits that the
jitter (Gaussian) carries past the worst eye, which allows every edge three rms. "errors" are wrong bits counted with
noise drawn at random, 20,440 bits a channel, and "expected" those by erfc over the same patterns, both without
jitter, at the threshold that the eye states; z is their difference over the square root of what is expected.
"""


def channel_of(rng: np.random.Generator, spread: float, jitter: float) -> tuple[Channel, float]:
    """Return a channel and the length of its bit (us)."""
    rise = float(rng.uniform(0.5, 3.0))
    fall = rise * float(np.exp(rng.uniform(-1.0, 1.0) * np.log(spread)))
    bare = Channel(rise, fall, float(np.exp(rng.uniform(np.log(20), np.log(5000)))))
    bit_us = float(rng.uniform(0.7, 1.6)) * max(rise, fall)
    noise = openings(bare, bit_us).vertical / float(rng.uniform(1.0, 3.0))
    share = float(rng.uniform(0.3, 0.7))
    return replace(
        bare, noise_on=share * noise, noise_off=(1 - share) * noise, jitter_us=jitter * rise * rng.random()
    ), bit_us


def run(spread: float, jitter: float, channels: int, seed: int) -> tuple[object, ...]:
    """Return the row of one kind."""
    rng = np.random.default_rng(seed)
    short, outside, bits, errors, expected = [], 0, 0, 0, 0.0
    for k in range(channels):
        channel, bit_us = channel_of(rng, spread, jitter)
        exact = openings(replace(channel, jitter_us=0.0), bit_us)
        clean = simulated_eye(channel, bit_us)
        short.append(exact.vertical - clean.opening(exact.sample_us))
        allowed = openings(channel, bit_us)
        at = simulated_eye(channel, bit_us, jitter=jitter > 0, seed=k).at(allowed.sample_us)
        on = clean.bits == 1
        outside += int(np.sum(np.where(on, at < allowed.least_on - 1e-4, at > allowed.most_off + 1e-4)))
        bits += at.size
        expected += DRAWS * at.size * clean.mean_bit_error(exact.sample_us, exact.threshold)
        level = clean.at(exact.sample_us)
        seen = level + np.where(on, channel.noise_on, channel.noise_off) * rng.normal(size=(DRAWS, at.size))
        errors += int(np.sum((seen > exact.threshold) != on))
    z = (errors - expected) / np.sqrt(expected)
    return (
        f"{max(short):.1e}", f"{np.median(short):.1e}", f"{1e6 * outside / bits:.0f} in 1e6", f"{errors}",
        f"{expected:.0f}", f"{errors / expected:.4f}", f"{z:+.1f}",
    )  # fmt: skip


def main() -> None:
    """Run all kinds and write the table."""
    channels = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    heads = ("channels", "opening short, most", "median", "outside, jitter", "errors", "expected", "ratio", "z")
    rows = [(f"{name}, {channels}", *run(s, j, channels, 20 + i)) for i, (name, s, j) in enumerate(KINDS)]
    write_table("eye", heads, rows, ABOUT)


if __name__ == "__main__":
    main()
