"""Generator settings: what to type, what it makes, how surely, and what a slip would make."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd
from uncertainties import UFloat, nominal_value

from aotf_lab.estimation import Check
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.planning.curves import Curves, HasCurves, curves_of
from aotf_lab.planning.generator.judge import checks_of
from aotf_lab.planning.generator.made import Made, made_of, percent
from aotf_lab.planning.generator.output import Output, given_output
from aotf_lab.planning.generator.reach import Bias, Reach, bias_of, reach_of
from aotf_lab.planning.generator.slips import Slip, slips_of
from aotf_lab.planning.generator.typed import DISPLAYS, Typed, typed_of
from aotf_lab.planning.generator.wanted import Wanted, needed_vco, wanted_levels
from aotf_lab.planning.set_point import shown
from aotf_lab.reading.atomic import write_text_atomically

__all__ = ["GeneratorSettings", "generator_settings"]


@dataclass(frozen=True)
class GeneratorSettings:
    """What to type into a generator for the levels ``wanted``, made by ``generator_settings``.

    ``typed`` holds by display ("high impedance", "50 ohm") what to type for the port as it loads the generator,
    ``unloaded`` the same as if it did not. ``made`` says what ``typed`` makes, ``slips`` what mistakes would make.
    ``bias`` would bring in reach what is not.
    """

    wanted: tuple[Wanted, ...]
    typed: dict[str, Typed]
    unloaded: dict[str, Typed]
    made: tuple[Made, ...]
    slips: tuple[Slip, ...]
    reach: Reach
    bias: Bias | None
    output: Output = field(repr=False)
    checks: tuple[Check, ...]

    def at(self, name: str, display: str = "high impedance") -> Made:
        """Return what is made of the level ``name``; raises ``KeyError`` for a name or a display that is none."""
        for made in self.made:
            if (made.wanted.name, made.display) == (name, display):
                return made
        raise KeyError((name, display))

    @property
    def trusted(self) -> bool:
        """Whether every check was passed."""
        return all(check.passed for check in self.checks)

    @property
    def table(self) -> pd.DataFrame:
        """One row a level and display, u in columns of their own; not a number where no light is wanted."""
        nan = float("nan")
        rows = []
        for m in self.made:
            row: dict[str, object] = {"level": m.wanted.name, "display": m.display}
            pairs = {"wanted_mhz": m.wanted.frequency_mhz, "wanted_port_v": m.wanted.port_v,
                     "made_port_v": m.port_v, "made_mhz": m.frequency_mhz, "error_mhz": m.error_mhz}  # fmt: skip
            for name, value in pairs.items():
                row |= {name: value.n, f"u_{name}": value.s}
            light = {
                "u_share_of_fwhm": m.u_share_of_fwhm, "rounding_lost_percent": m.rounding_lost_percent,
                "light_lost_percent": m.light_lost_percent, "calibrated_lost_percent": m.calibrated_lost_percent,
            }  # fmt: skip
            row |= {name: nan if value is None else value for name, value in light.items()}
            row |= {"u_calibrated_mhz": m.u_calibrated_mhz, "reachable": m.reachable}
            rows.append(row)
        return pd.DataFrame(rows)

    @property
    def typed_table(self) -> pd.DataFrame:
        """One row a display, for the port as it loads the generator and as if it did not; volts as displayed."""
        return pd.DataFrame([
            {"display": t.display, "port": port, "high_v": t.high_v, "low_v": t.low_v, "offset_v": t.offset_v,
             "amplitude_vpp": t.amplitude_vpp}
            for port, group in (("as it is", self.typed), ("as if open", self.unloaded)) for t in group.values()
        ])  # fmt: skip

    @property
    def slips_table(self) -> pd.DataFrame:
        """One row a mistake and level."""
        return pd.DataFrame([
            {"mistake": s.mistake, "level": s.name, "port_v": s.port_v,
             "frequency_mhz": float("nan") if s.frequency_mhz is None else s.frequency_mhz.n,
             "u_frequency_mhz": float("nan") if s.frequency_mhz is None else s.frequency_mhz.s,
             "off_mhz": float("nan") if s.off_mhz is None else s.off_mhz, "harmful": s.harmful, "remark": s.remark}
            for s in self.slips
        ])  # fmt: skip

    def to_csv(self, path: str | Path) -> Path:
        """Write the typed values beside what they make, one row a level and display, atomically; return the path."""
        typed = self.typed_table[self.typed_table["port"] == "as it is"].drop(columns="port")
        write_text_atomically(Path(path), self.table.merge(typed, on="display").to_csv(index=False))
        return Path(path)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, words) for each line of ``str``: what is typed, what it makes, and what mistakes would make."""
        return (*self.made_rows(), *((f"wrong: {s.mistake}", str(s)) for s in self.slips))

    def made_rows(self, display: str = "high impedance") -> tuple[tuple[str, str], ...]:
        """Return (name, words) of what is typed, and what it makes where that is done on ``display``."""
        found = [
            (f"type, {t.display} display", str(t)) for t in self.typed.values()
        ]  # fmt: skip
        out = self.output
        load = "open" if out.oscillator.input_ohm is None else f"{out.oscillator.input_ohm:g} ohm"
        takes = (
            f"{100 * (1 - out.share_n):.2g} % of the open-circuit volts are lost in {out.generator.output_ohm:g} ohm"
        )
        found.append(
            ("port", f"{load}, {takes}" + (f", bias {shown(out.bias_v)} V" if nominal_value(out.bias_v) else ""))
        )
        found += [(m.wanted.name, _words(m)) for m in self.made if m.display == display]
        return tuple(found)

    @property
    def title(self) -> str:
        """What it is, in a few words."""
        kind = {1: "one level", 2: "a square wave between two levels"}.get(
            len({m.wanted.name for m in self.made}), f"a waveform of {len(self.wanted)} levels"
        )
        return f"Generator, {kind}: {', '.join(w.name for w in self.wanted)}"

    def __str__(self) -> str:
        return rows_text(self.title, self.rows(), (c for c in self.checks if not c.passed))

    def _repr_html_(self) -> str:
        return rows_html(self.title, self.rows(), (c for c in self.checks if not c.passed))

    def plot(self, ax: Any = None) -> Any:
        """Draw the volts at the port over a cycle, with the window of each line; return the Axes."""
        from aotf_lab.drawing.generator import plot_generator_levels

        levels = [m for m in self.made if m.display == "high impedance"]
        windows = {m.wanted.name: _window(m) for m in levels}
        return plot_generator_levels([m.port_v.n for m in levels], [m.port_v.s for m in levels], windows, ax)


def _window(made: Made) -> tuple[float, float]:
    """Return the volts between which the line has half of its light, or the level itself where no light is wanted."""
    middle = made.wanted.port_v.n
    if made.wanted.fwhm_mhz is None or made.slope_mhz_per_v <= 0:
        return middle, middle
    half = made.wanted.fwhm_mhz / made.slope_mhz_per_v / 2
    return middle - half, middle + half


def _words(made: Made) -> str:
    """Return one level in words."""
    text = (
        f"{shown(made.port_v)} V at the port for {shown(made.wanted.port_v)} V wanted, {made.frequency_mhz.n:.4f} MHz, "
        f"off by {1e3 * made.error_mhz.n:+.2f} kHz by {'rounding' if made.reachable else 'its reach'}"
    )
    if made.rounding_lost_percent is not None:
        text += f" ({percent(made.rounding_lost_percent)} of light)"
    text += f", u = {1e3 * made.error_mhz.s:.3g} kHz, within {1e3 * made.error_limit_mhz:.3g} kHz (95 %)"
    if made.light_lost_percent is not None:
        text += f", {made.limit_share_of_fwhm:.2g} of FWHM: up to {percent(made.light_lost_percent)} of light lost"
    return text


def generator_settings(
    source: Curves | HasCurves,
    lines: str | Mapping[str, UFloat | float | None] | Iterable[float | str],
    output: Output,
    *,
    park_mhz: UFloat | float | None = None,
) -> GeneratorSettings:
    """Return what to type for one line, a pair (square wave), or a list of lines (waveform).

    ``lines`` is a name or as for ``set_points``; ``park_mhz`` adds a level without light, such as the park frequency.
    ``output`` is what ``generator_output`` makes of the facts. A level out of reach is replaced by the nearest one
    within it, and the check "reach" says so. Amplitudes are peak to peak. Raises ``AotfLabError`` where a line has no
    set-point, and where generator, port and curve have no volts in common.
    """
    given_output(output)
    curves, _ = curves_of(source)
    vco, wanted = needed_vco(curves), wanted_levels(source, lines, park_mhz)
    reach = reach_of(output, vco)
    ports = [reach.nearest(w.port_v.n) for w in wanted]
    share, bias_v = output.share_n, float(nominal_value(output.bias_v))
    opened = [v / share - bias_v for v in ports]
    limits = (reach.low_v / share - bias_v, reach.high_v / share - bias_v)
    free = output.generator.range_v or (min(limits[0], min(ports)), max(limits[1], max(ports)))
    typed = {d: typed_of(opened, d, output.generator, limits) for d in DISPLAYS}
    unloaded = {d: typed_of([v - bias_v for v in ports], d, output.generator, free) for d in DISPLAYS}
    made = tuple(m for t in typed.values() for m in made_of(wanted, t, output, reach, vco))
    bias = bias_of(wanted, output, output.generator.range_v)
    checks = checks_of(wanted, made, tuple(typed.values()), output, reach, bias)
    slips = slips_of(wanted, typed, output, vco)
    return GeneratorSettings(wanted, typed, unloaded, made, slips, reach, bias, output, checks)
