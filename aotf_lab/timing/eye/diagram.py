"""The eye by simulation: pseudo-random bits through the light, with the jitter and noise that are stated."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aotf_lab.errors import AotfLabError
from aotf_lab.timing.eye.channel import Channel, FloatArray
from aotf_lab.timing.eye.patterns import pseudo_random_bits

__all__ = ["EyeDiagram", "simulated_eye"]


@dataclass(frozen=True)
class EyeDiagram:
    """The light of each bit laid over the others, made by ``simulated_eye``.

    ``time_us`` (n,) counts from the start of the bit and goes half a bit further on both sides; ``light`` (bits, n) is
    the share of the light when on, ``bits`` (bits,) what was sent.
    """

    channel: Channel
    bit_us: float
    time_us: FloatArray
    light: FloatArray
    bits: NDArray[np.int8]

    def opening(self, sample_us: float) -> float:
        """Return the least light of a 1 less the most of a 0 at ``sample_us``, as ``at`` gives them."""
        at = self.at(sample_us)
        return float(at[self.bits == 1].min() - at[self.bits == 0].max())

    def at(self, sample_us: float) -> FloatArray:
        """Return the light (bits,) of every bit ``sample_us`` after its start, by straight lines over the grid."""
        step = self.time_us[1] - self.time_us[0]
        place = float(np.clip((sample_us - self.time_us[0]) / step, 0, len(self.time_us) - 1.000001))
        k = int(place)
        return np.asarray(self.light[:, k] + (place - k) * (self.light[:, k + 1] - self.light[:, k]))

    def mean_bit_error(self, sample_us: float, threshold: float) -> float:
        """Return the chance of a wrong bit over all patterns here, by the noise alone (erfc), at a fixed threshold."""
        at, on = self.at(sample_us), self.bits == 1
        noise = np.where(on, self.channel.noise_on, self.channel.noise_off)
        margin = np.where(on, at - threshold, threshold - at)
        z = np.where(noise > 0, margin / np.maximum(noise, 1e-300), np.where(margin > 0, np.inf, -np.inf))
        return float(np.mean(0.5 * special.erfc(z / np.sqrt(2.0))))

    def plot(self, ax: Any = None) -> Any:
        """Draw the eye: many bits over each other, the exact worst eye around the opening."""
        from aotf_lab.drawing.eye import plot_eye
        from aotf_lab.timing.eye.openings import eye_lines, openings

        found = openings(self.channel, self.bit_us)
        least, most = eye_lines(self.channel, self.time_us, self.bit_us)
        return plot_eye(
            self.time_us, self.light, least, most, (found.sample_us, found.threshold, found.vertical), self.bit_us, ax
        )


def simulated_eye(
    channel: Channel,
    bit_us: float,
    *,
    order: int = 9,
    points: int = 161,
    jitter: bool = False,
    noise: bool = False,
    seed: int = 1,
) -> EyeDiagram:
    """Return the eye of one period of pseudo-random bits of ``bit_us`` (us).

    Every change of a bit adds its edge to the light, shifted by its own Gaussian jitter where ``jitter``; ``noise``
    adds that of the state sent. Raises ``AotfLabError`` for a bit without length, or an unknown ``order``.
    """
    if not (np.isfinite(bit_us) and bit_us > 0):
        raise AotfLabError("length of a bit (us)", found=bit_us, allowed="above 0 us", cure="give 1000 over kbit/s")
    rng = np.random.default_rng(seed)
    bits = pseudo_random_bits(order)
    reach = int(np.ceil(channel.memory_us / bit_us)) + 2
    circle = np.resize(np.roll(bits, reach), len(bits) + 2 * reach)
    late = rng.normal(0.0, channel.jitter_us, len(circle)) if jitter else np.zeros(len(circle))
    time = np.linspace(-0.5, 1.5, points) * bit_us
    light = np.empty((len(bits), points))
    for i in range(len(bits)):
        here = i + reach
        light[i] = _keyed(channel, circle, late, here, time, bit_us, reach)
    light = channel.lit(light)
    if noise:
        size = np.where(bits == 1, channel.noise_on, channel.noise_off)[:, None]
        light = light + size * rng.normal(size=light.shape)
    return EyeDiagram(channel, bit_us, time, light, bits)


def _keyed(
    channel: Channel, bits: NDArray[np.int8], late: FloatArray, here: int, time: FloatArray, bit_us: float, reach: int
) -> FloatArray:
    """Return the sum of edges (n,) around bit ``here``, from ``reach`` bits before it to as many after."""
    first, last = max(here - reach, 1), min(here + reach, len(bits) - 1)
    places = np.arange(first, last + 1)
    change = bits[places].astype(float) - bits[places - 1]
    keyed = np.full(time.shape, float(bits[first - 1]))
    for k, way in zip(places, change, strict=True):
        since = time - (k - here) * bit_us - late[k]
        if way > 0:
            keyed += channel.up(since)
        elif way < 0:
            keyed -= channel.down(since)
    return keyed
