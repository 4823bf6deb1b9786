"""What a session says of time: how fast the light follows, what the generator is to play, and what to measure next."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, TypeAlias

from uncertainties import UFloat

from aotf_lab.errors import Said, SessionError
from aotf_lab.planning.generator import GeneratorSettings, Output, generator_output, generator_settings
from aotf_lab.planning.generator.reach import reach_of
from aotf_lab.planning.generator.sweep import SineSweep, sine_sweep
from aotf_lab.planning.next_reading import NextReadings, next_readings
from aotf_lab.planning.sequence import Sequence, sequence
from aotf_lab.planning.sequence.order import MOST_STEPS
from aotf_lab.reading.session_play import DARK, Play
from aotf_lab.session.composed import SessionCurves
from aotf_lab.timing.depth import ModulationDepth, fit_modulation_depth
from aotf_lab.timing.edge import Edge, fit_edge
from aotf_lab.timing.sweep import SweepLimits, sweep_limits

__all__ = ["Played", "SessionTiming"]

Played: TypeAlias = GeneratorSettings | Sequence | SineSweep
"""What comes of a [[play]]: levels, square wave or list; a staircase with dwells; a sine."""

Order: TypeAlias = Literal["best", "soonest", "given"]


@dataclass(frozen=True)
class SessionTiming(SessionCurves):
    """Speed and the generator; each part raises when it cannot be computed."""

    @property
    def port_bandwidth_khz(self) -> UFloat | None:
        """The bandwidth of the oscillator's port as stated, 5 % uncertain; None where session.toml says nothing."""
        return self.facts.limits.oscillator.known_port_bandwidth_khz

    @cached_property
    def edge(self) -> Mapping[str, Edge]:
        """The edges of each line (or "" where none is named) whose light was switched through the oscillator's port."""
        sizes = (self.part("beam_size") if self.files("beam_size") else None) or {}
        names = self.lines_of("edge")
        bench = self.facts.instruments

        def fitted(name: str) -> Edge:
            size = sizes.get(name, sizes.get("")) if name else next(iter(sizes.values()), None)
            return fit_edge(
                self.readings("edge", name or None), detector_rise_us=bench.detector.known_rise_us,
                scope_bandwidth_mhz=bench.scope.bandwidth_mhz, port_bandwidth_khz=self.port_bandwidth_khz,
                beam_diameter_mm=None if size is None else size.diameter_mm, velocity_m_s=self.velocity_m_s,
            )  # fmt: skip

        return self._each(names, fitted, "edge of line")

    @cached_property
    def modulation_depth(self) -> Mapping[str, ModulationDepth]:
        """The depth of modulation against frequency of each line (or "")."""
        edges = (self.part("edge") if self.files("edge") else None) or {}
        names = self.lines_of("modulation_depth")

        def fitted(name: str) -> ModulationDepth:
            edge = edges.get(name, edges.get(""))
            return fit_modulation_depth(
                self.readings("modulation_depth", name or None), port_bandwidth_khz=self.port_bandwidth_khz,
                detector_rise_us=self.facts.instruments.detector.known_rise_us,
                transit_us=None if edge is None else edge.transit_us,
            )  # fmt: skip

        return self._each(names, fitted, "modulation depth of line")

    @property
    def one_edge(self) -> Edge:
        """The edge that times rest on: the first that could be fitted.

        Raises ``SessionError`` where there is none.
        """
        found: Edge | None = next(iter((self.part("edge") or {}).values()), None)
        if found is None:
            raise SessionError(
                "how fast the light follows is not known", where="session.toml", found=Said("no edge that was fitted"),
                allowed='a [[file]] with purpose = "edge"', cure="save a trace of the light beside the drive's step",
            )  # fmt: skip
        return found

    @cached_property
    def sweep(self) -> SweepLimits:
        """How fast the frequency may be swept over all scanned lines, at 5 % of light lost in the narrowest."""
        edge, scans = self.one_edge, list(self.scans.values())
        if not scans:
            self.readings("scan")
        narrow = min(scans, key=lambda s: float(s.fwhm_mhz.n))
        peaks = [float(s.centre_mhz.n) for s in scans]
        return sweep_limits(
            narrow.fwhm_mhz, transit_us=edge.transit_us, span_mhz=(max(peaks) - min(peaks)) or None,
            delay_us=0.0 if edge.delay_us is None else edge.delay_us,
            detector_rise_us=self.facts.instruments.detector.known_rise_us, port_bandwidth_khz=self.port_bandwidth_khz,
        )  # fmt: skip

    @cached_property
    def generator(self) -> Output:
        """The generator at the oscillator's port, as session.toml states both."""
        return generator_output(self.facts.limits.generator, self.facts.limits.oscillator)

    @cached_property
    def levels(self) -> Mapping[str, GeneratorSettings]:
        """What to type for each line alone that can be set."""
        names = {line.name: line.name for line in self.facts.lines if self.vco}  # without a curve all fail alike
        return self._each(names, lambda name: generator_settings(self, name, self.generator), "level of line")

    @cached_property
    def plays(self) -> Mapping[str, Played]:
        """What comes of each [[play]] of session.toml, by name."""
        return self._each({p.name: p for p in self.facts.plays}, self._played, "play")

    def _played(self, play: Play) -> Played:
        if play.rate_khz is not None:
            return sine_sweep(self, play.lit, self.generator, rate_khz=play.rate_khz)
        if play.dwell_us is None:
            park = self.park.best.at_mhz if DARK[0] in play.lines else None
            return generator_settings(self, play.lit, self.generator, park_mhz=park)
        steps = tuple(zip(play.lines, play.dwell_us, strict=True))
        order: Order = "best" if len(steps) <= MOST_STEPS else "given"
        where = f"session.toml [[play]] {play.name}"
        return self.sequence_of(steps, equal_light=play.equal_light, order=order, where=where)

    def sequence_of(
        self, steps: Iterable[tuple[str, float]], *, equal_light: bool = False, order: Order = "best",
        kick_us: float | None = None, good_share: float = 0.95, where: str = "session.toml",
        like: Sequence | None = None,
    ) -> Sequence:  # fmt: skip
        """Return the sequence of ``steps`` (name, dwell in us) by this session's edge, port, generator and one drive.

        The options are those of ``sequence``. Raises as that, and ``SessionError`` where edge or port are not known.
        """
        steps, edge, port = tuple(steps), self.one_edge, self.port_bandwidth_khz
        if edge.delay_us is None or port is None:
            what = "the edge's delay" if edge.delay_us is None else "port_bandwidth_khz"
            raise SessionError(
                f"a sequence needs {what}", where=where, found=Said("not known"),
                allowed="a trace with the drive beside the light, and [oscillator] port_bandwidth_khz",
                cure="measure or state it",
            )  # fmt: skip
        rise = edge.rise_us if edge.rise_us is not None else edge.fall_us
        assert rise is not None
        reach = reach_of(self.generator, self.vco)
        return sequence(
            self, steps, delay_us=edge.delay_us, rise_us=rise, port_bandwidth_khz=port, passbands=self.passbands,
            park=self.park if DARK[0] in {name for name, _ in steps} else None, supply_v=self.one_drive.supply_v,
            equal_light=equal_light, order=order, kick_us=kick_us, good_share=good_share,
            range_v=(reach.low_v, reach.high_v), like=like,
        )  # fmt: skip

    @cached_property
    def advice(self) -> NextReadings:
        """The readings that would shrink the uncertainty of the set-points most."""
        return next_readings(self)
