"""The truth of the invented bench "Skerry": the only place where its true values stand.

Every number here is invented. The raw files that the simulation writes carry readings of these
values, never the values, so that a fit can be judged by how far it comes back to them.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from aotf_lab.errors import AotfLabError

__all__ = [
    "SKERRY",
    "AmplifierTruth",
    "BenchTruth",
    "CrystalTruth",
    "InstrumentTruth",
    "LineTruth",
    "OscillatorTruth",
]


@dataclass(frozen=True)
class OscillatorTruth:
    """f = polynomial(V) - knee_mhz exp(-V / knee_v), plus supply, temperature and warm-up."""

    polynomial_mhz: tuple[float, ...] = (41.2, 5.05, -0.178, 0.0062)
    knee_mhz: float = 0.9
    knee_v: float = 0.9
    drive_range_v: tuple[float, float] = (0.3, 14.0)
    temperature_mhz_per_k: float = -0.046
    reference_temperature_c: float = 22.0
    supply_mhz_per_v: float = 0.55
    nominal_supply_v: float = 15.0
    warm_up_mhz: float = 0.36
    warm_up_time_s: float = 780.0
    jitter_mhz: float = 0.004
    backlash_v: float = 0.008


@dataclass(frozen=True)
class CrystalTruth:
    """Cut, sound, passband and diffraction of the crystal; powers are forward powers at its connector."""

    incidence_deg: float = 10.6
    acoustic_angle_deg: float = 5.3
    velocity_m_s: float = 643.4
    temperature_per_k: float = 4.6e-5
    reference_temperature_c: float = 22.0
    fwhm_mhz: float = 0.300
    fwhm_slope: float = 0.06
    fwhm_reference_mhz: float = 64.0
    fwhm_span_mhz: float = 30.0
    skew: float = 0.10
    peak_efficiency: float = 0.88
    saturation_power_w: float = 0.415
    saturation_wavelength_nm: float = 589.0
    rated_power_w: float = 0.80


@dataclass(frozen=True)
class AmplifierTruth:
    """P = gain (Vs - threshold)^2 less bow and ripple in dB, soft saturation, and two harmonics.

    Its supply's current is ``quiescent_a`` plus ``current_a_per_root_w`` sqrt(P). ``harmonics_rad`` are the phases of
    the harmonics against a cosine of the fundamental, whatever its frequency.
    """

    gain_w_per_v2: float = 0.0125
    threshold_v: float = 3.1
    bow_db: float = 0.9
    bow_centre_mhz: float = 58.0
    bow_span_mhz: float = 25.0
    ripple_db: float = 0.35
    ripple_mhz: float = 3.1
    saturation_w: float = 1.4
    saturation_sharpness: float = 6.0
    harmonics_dbc: tuple[tuple[int, float], ...] = ((2, -19.0), (3, -24.0))
    harmonics_rad: tuple[float, ...] = (0.9, 2.3)
    quiescent_a: float = 0.030
    current_a_per_root_w: float = 0.140
    current_noise_a: float = 0.001
    harmonic_phases_rad: tuple[tuple[int, float], ...] = ((2, 0.9), (3, -0.6))


@dataclass(frozen=True)
class InstrumentTruth:
    """True errors of the instruments. Relative ones are factors less one; noise is a standard deviation."""

    counter_error: float = 18e-6
    voltmeter_error: float = 0.0012
    voltmeter_noise_v: float = 0.0015
    scope_error: float = 0.027
    scope_bandwidth_mhz: float = 200.0
    scope_bits: int = 8
    scope_noise: float = 0.004
    scope_time_base_error: float = -22e-6
    pad_db: float = 29.92
    load_ohm: float = 50.3
    head_lag_s: float = 0.9
    head_floor_mw: float = 0.0011
    head_offset_mw: float = 0.0023
    head_noise: float = 0.004
    laser_wander: float = 0.012
    laser_wander_time_s: float = 2.0
    thermometer_noise_c: float = 0.03


@dataclass(frozen=True)
class LineTruth:
    """A laser line: its true wavelength in air, and what stands on its label with the u that the owner gives it."""

    name: str
    wavelength_air_nm: float
    label_nm: float
    u_label_nm: float
    anchor: bool
    incident_power_mw: float


@dataclass(frozen=True)
class BenchTruth:
    """All of the bench; replace a part with ``dataclasses.replace`` to make another bench."""

    oscillator: OscillatorTruth = field(default_factory=OscillatorTruth)
    crystal: CrystalTruth = field(default_factory=CrystalTruth)
    amplifier: AmplifierTruth = field(default_factory=AmplifierTruth)
    instruments: InstrumentTruth = field(default_factory=InstrumentTruth)
    lines: tuple[LineTruth, ...] = (
        LineTruth("A", 449.60, 450.0, 3.0, False, 4.1),
        LineTruth("B", 473.04, 473.06, 0.08, True, 2.4),
        LineTruth("C", 517.90, 515.0, 4.0, False, 3.1),
        LineTruth("D", 556.33, 556.27, 0.10, True, 1.9),
        LineTruth("E", 588.92, 588.96, 0.10, True, 1.3),
        LineTruth("F", 637.40, 638.0, 3.0, False, 3.6),
        LineTruth("G", 671.17, 671.10, 0.10, True, 2.8),
    )

    def line(self, name: str) -> LineTruth:
        """Return the line of this name; raises ``AotfLabError`` when the bench has none.

        >>> SKERRY.line("C").label_nm
        515.0
        """
        for line in self.lines:
            if line.name == name:
                return line
        raise AotfLabError(
            "no such line on the simulated bench", found=name, allowed=", ".join(line.name for line in self.lines),
            cure="name one of these",
        )  # fmt: skip


SKERRY = BenchTruth()
"""The demo bench as it is."""
