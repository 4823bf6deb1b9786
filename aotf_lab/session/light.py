"""What a session says of its light: which peak is which line, how pure each is, where it goes, and how wide it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from uncertainties import umath

from aotf_lab.crystal.angles import Angles, fit_angles
from aotf_lab.crystal.beam import BeamSize, fit_beam_size
from aotf_lab.crystal.hunt.hunt import Hunt, fit_hunt
from aotf_lab.crystal.identity.exchanged import Exchange
from aotf_lab.crystal.identity.identify import identify
from aotf_lab.crystal.identity.identity import Identity
from aotf_lab.crystal.identity.words import exchange_words
from aotf_lab.crystal.passbands.passbands import Passbands, passbands
from aotf_lab.crystal.polarisation import Polarisation, fit_polarisation
from aotf_lab.crystal.purity.crosstalk import Crosstalk, crosstalk
from aotf_lab.crystal.purity.leakage import Leakage, fit_leakage
from aotf_lab.crystal.spectrum.fit import fit_spectrum
from aotf_lab.crystal.spectrum.response import response_of_efficiency
from aotf_lab.crystal.spectrum.spectrum import Spectrum
from aotf_lab.crystal.tuning.curve import Tuning
from aotf_lab.data import CatalogueLine
from aotf_lab.errors import ReadingsError, Said
from aotf_lab.session.by_name import ByName
from aotf_lab.session.crystal import SessionCrystal

__all__ = ["SessionLight"]


@dataclass(frozen=True)
class SessionLight(SessionCrystal):
    """The light of a session; each part raises when it cannot be computed."""

    @cached_property
    def hunt(self) -> Hunt:
        """The peaks of the wide sweep, and what each is."""
        harmonics, exchange = self.driver_harmonics, self.exchanged
        doubted = () if exchange is None else exchange.peaks
        return fit_hunt(
            self.readings("hunt"),
            lines=self.stated_nm,
            tuning=self.part("tuning"),
            harmonics=None if harmonics is None else {h.order: 10 * umath.log10(h.share) for h in harmonics},
            scanned={n: s.centre_mhz for n, s in (self.part("scans") or {}).items() if n not in doubted},
            time_constant_s=self.meter_s,
        )

    @cached_property
    def identity(self) -> Identity:
        """Which line each scanned peak is, among the lines of session.toml and without the tuning curve."""
        lines = [
            CatalogueLine(name, value.n, value.s, "session.toml", "stated") for name, value in self.stated_nm.items()
        ]
        peaks = {name: scan.centre_mhz for name, scan in self.scans.items()}
        return identify(peaks, lines, material=self.facts.crystal.material)

    @cached_property
    def exchanged(self) -> Exchange | None:
        """The labels that were exchanged beyond doubt, and with which all lines agree once put right; else None."""
        identity = self.part("identity") if len({f.line for f in self.files("scan")}) > 1 else None
        exchange = None if identity is None else identity.exchange
        return exchange if exchange is not None and exchange.cured and not exchange.rivals else None

    @cached_property
    def tuning(self) -> Tuning:
        """The crystal: wavelength to frequency. Raises ``ReadingsError`` where an anchor's label was exchanged."""
        exchange, anchors = self.exchanged, {line.name for line in self.facts.lines if line.use == "anchor"}
        if exchange is None or self.files("lines") or not anchors & set(exchange.peaks):
            return super().tuning
        raise ReadingsError(
            exchange_words(exchange), where="session.toml",
            found=Said("; ".join(f"scan {p}: {self.scans[p].centre_mhz.n:.6g} MHz" for p in exchange.peaks)),
            allowed="each scan under the name of its line",
            cure="exchange line in the [[file]] of these scans, or wavelength_nm of these lines, whichever is wrong",
        )  # fmt: skip

    @cached_property
    def passbands(self) -> Passbands:
        """What the crystal does to each line at any frequency and RF power."""
        return passbands(
            self.part("scans") or {}, self.part("efficiency"), self.part("tuning"), wavelengths_nm=self.wavelengths_nm
        )

    @cached_property
    def spectrum(self) -> Spectrum:
        """The spectrum of the lamp that was scanned; of what is diffracted of it, without RF power or efficiency."""
        power, efficiency = self._stated_power("spectrum"), self.part("efficiency")
        middle = self.tuning.law.reference_nm
        known = power is not None and efficiency is not None
        return fit_spectrum(
            self.readings("spectrum"),
            self.tuning,
            passband=self.scans,
            efficiency=response_of_efficiency(efficiency, power, self.tuning.range_nm) if known else None,
            drive_ratio=power / efficiency.saturation_power_w(middle) if known else None,
            time_constant_s=self.meter_s,
        )

    @cached_property
    def leakage(self) -> ByName[Leakage]:
        """What leaks of each line whose leak was measured."""
        names = {f.line: f.line for f in self.files("leakage") if f.line}
        return self._each(names, lambda n: fit_leakage(self.readings("leakage", n), line=n), "leakage of line")

    @cached_property
    def crosstalk(self) -> Crosstalk:
        """The light of every other line with the filter set to one, at the RF power at which leaks were measured."""
        leaks = self.leakage
        power = self._stated_power("leakage")
        return crosstalk(self.passbands, rf_power_w=power, measured=leaks.values(), left_out=leaks.failed)

    @cached_property
    def angles(self) -> Angles:
        """Where the orders go; the entrance face is taken as square to the light."""
        wavelengths = {name: value for name, value in self.wavelengths_nm.items() if value is not None}
        cut = self.part("cut") if self.part("tuning") is not None else None
        return fit_angles(
            self.readings("spots"), wavelengths, velocity_m_s=self.velocity_m_s,
            sound_to_face_deg=None if cut is None else cut.incidence_deg - cut.acoustic_angle_deg,
        )  # fmt: skip

    @cached_property
    def polarisation(self) -> Mapping[str, Polarisation]:
        """The polarisation of each line (or "" for the light as a whole) that was looked at behind an analyser."""
        names = self.lines_of("polarisation")
        return self._each(
            names, lambda n: fit_polarisation(self.readings("polarisation", n or None), line=n), "polarisation of line"
        )

    @cached_property
    def beam_size(self) -> Mapping[str, BeamSize]:
        """The beam of each line (or "" for the light as a whole) that was measured with a knife edge."""
        names = self.lines_of("beam_size")
        return self._each(
            names,
            lambda n: fit_beam_size(self.readings("beam_size", n or None), line=n, time_constant_s=self.meter_s),
            "beam of line",
        )

    def _stated_power(self, purpose: str) -> float | None:
        """Return the RF power (W) that session.toml states for the files of ``purpose``, None where they differ."""
        stated = {f.rf_power_w for f in self.files(purpose)}
        return stated.pop() if len(stated) == 1 else None
