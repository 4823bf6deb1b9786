"""What is known of time and of the generator, as text: speed, what to type, what to measure next."""

from __future__ import annotations

from collections.abc import Iterator

from uncertainties import UFloat

from aotf_lab.estimation import Fit
from aotf_lab.planning.generator import GeneratorSettings
from aotf_lab.report.content_numbers import NumberRow, number_row
from aotf_lab.report.pace_parts import Pace
from aotf_lab.report.words import light, measured, of_line

__all__ = [
    "OUT_OF_REACH",
    "TYPED_HEADS",
    "advice",
    "generator_notes",
    "pace_rows",
    "typed_rows",
]

OUT_OF_REACH = "out of reach"

TYPED_HEADS = (
    "Line",
    "Offset, high-impedance display (V)",
    "Offset, 50-ohm display (V)",
    "Volts at the port, by the voltmeter",
    "Light lost as typed, at most",
    "Light lost once set by the voltmeter, at most",
)


def pace_rows(pace: Pace) -> list[NumberRow]:
    """Return the numbers of time with intervals and causes."""
    return [*_edges(pace), *_depths(pace), *_sweep(pace)]


def _edges(pace: Pace) -> Iterator[NumberRow]:
    for name, edge in pace.edge.items():
        of = of_line(name)
        for what, value in (
            (f"Rise of the light{of}, 10 to 90 %", edge.rise_us),
            (f"Fall of the light{of}, 90 to 10 %", edge.fall_us),
            (f"Delay from drive to light{of}", edge.delay_us),
            (f"Beam over velocity, D/v{of}", edge.transit_us),
        ):
            if value is not None:
                yield _row(what, value, "µs", edge.fit)


def _depths(pace: Pace) -> Iterator[NumberRow]:
    for name, depth in pace.modulation_depth.items():
        of = of_line(name)
        yield _row(f"Half depth of modulation{of}, port and beam", depth.half_khz, "kHz", depth.fit)
        yield _row(f"−3 dB at a detector{of}, port and beam", depth.f_3db_khz, "kHz", depth.fit)


def _row(name: str, value: UFloat, unit: str, fit: Fit) -> NumberRow:
    return number_row(name, value, unit, fit.interval(value))


def _sweep(pace: Pace) -> Iterator[NumberRow]:
    sweep = pace.sweep
    if sweep is not None:
        loss = f"Highest rate of a sweep for {100 * sweep.loss:g} % of the light lost"
        each = "" if sweep.sweeps_per_s is None else f"{measured(sweep.sweeps_per_s)} sweeps per s over all lines"
        yield NumberRow(loss, measured(sweep.rate_mhz_per_us, "MHz/µs"), each, f"limited by the {sweep.limited_by}")


def typed_rows(pace: Pace) -> list[tuple[str, ...]]:
    """Return what to type for each line alone; a line out of reach says so."""
    return [_typed_row(name, level) for name, level in pace.levels.items()]


def _typed_row(name: str, level: GeneratorSettings) -> tuple[str, ...]:
    made = level.at(name)
    port = measured(made.wanted.port_v)
    if not made.reachable:
        why = level.reach.why(made.wanted.port_v.n)
        return (
            name,
            OUT_OF_REACH,
            OUT_OF_REACH,
            port,
            f"beyond {why}",
            "the failed check names a bias that would do",
        )
    typed = [t.offset_v for t in level.typed.values()]
    return (
        name,
        *(f"{v:.3f}" for v in typed),
        port,
        light(made.light_lost_percent),
        light(made.calibrated_lost_percent),
    )


def generator_notes(pace: Pace) -> list[str]:
    """Return what holds for all that is typed."""
    if not pace.levels:
        return []
    output = next(iter(pace.levels.values())).output
    share, load = 100 * (1 - output.share_n), output.oscillator.input_ohm
    notes = [] if load is None else [
        f"The port's {load:g} ohm take {share:.2g} % off the generator's open-circuit volts; that is allowed for."
    ]  # fmt: skip
    notes.append(
        "DC: amplitude off, the offset alone. A 50-ohm display shows half of what a high-impedance display shows: "
        "look which one is chosen in the menu before the port is plugged in."
    )
    worst = [m for level in pace.levels.values() for m in level.made if m.reachable and m.generator_share > 0.5]
    if worst:
        notes.append(
            "What is typed is a start only: the generator's own accuracy moves the frequency by up to "
            f"{1e3 * max(m.error_mhz.s for m in worst):.0f} kHz (k = 1). Set each level by the voltmeter at the port."
        )
    return notes


def advice(pace: Pace) -> list[str]:
    """Return three sentences at the most on what to measure next."""
    return [] if pace.advice is None else pace.advice.advice()
