"""Where the oscillator stands in a step: volts, frequency, RF power, light."""

from __future__ import annotations

from collections.abc import Sequence as SequenceOf
from dataclasses import dataclass, replace

from uncertainties import UFloat, nominal_value

from aotf_lab.errors import AotfLabError, OutOfRangeError, Said
from aotf_lab.given import given_number
from aotf_lab.planning.curves import Curves, HasCurves, curves_of
from aotf_lab.planning.park import Park
from aotf_lab.planning.sequence.scene import Scene
from aotf_lab.planning.sequence.steps import OFF, PARK, Step
from aotf_lab.planning.set_points import set_points

__all__ = ["Place", "places_of", "ready_when_off"]


@dataclass(frozen=True)
class Place:
    """``line`` is None in the dark; ``drive_v`` are volts at the port by any meter, ``rf_power_w`` 0 with RF off.

    ``efficiency`` is that of the line at the sequence's RF power, None in the dark.
    """

    step: Step
    line: str | None
    drive_v: UFloat
    frequency_mhz: UFloat
    rf_power_w: UFloat | float
    efficiency: UFloat | None

    @property
    def rf_on(self) -> bool:
        """Whether RF is on."""
        return self.step.line != OFF

    @property
    def volts(self) -> float:
        """The volts without their uncertainty."""
        return float(nominal_value(self.drive_v))

    @property
    def spot(self) -> tuple[float, str | None, bool]:
        """All of it that a hop depends on."""
        return self.volts, self.line, self.rf_on


def places_of(
    source: Curves | HasCurves, scene: Scene, steps: SequenceOf[Step], park: Park | float | None
) -> list[Place]:
    """Return the place of every step; that of ``OFF`` is filled by ``ready_when_off`` once the order is known.

    Raises ``AotfLabError`` for a line that cannot be set, or a step of park without a place to park.
    """
    vco = scene.vco
    names = tuple(dict.fromkeys(s.line for s in steps if not s.dark))
    own = tuple(curves_of(source)[1].items())
    points = {p.line: p for p in scene.once(("set points", names, own), lambda: set_points(source, names))}
    made: list[Place] = []
    for step in steps:
        if step.line == PARK:
            made.append(_parked(scene, step, park))
        elif step.line == OFF:
            made.append(Place(step, None, vco.drive_true(vco.range_mhz[0]), vco.frequency(vco.range_v[0]), 0.0, None))
        else:
            point = points[step.line]
            if point.drive_other_meter_v is None or point.frequency_mhz is None:
                raise AotfLabError(
                    "a line that cannot be set", where=step.line, found=Said(point.remark or "no drive voltage"),
                    allowed="a line within the oscillator's curve", cure="leave it out, or measure further",
                )  # fmt: skip
            at = float(point.frequency_mhz.n)
            power = scene.drive.power_w(at)
            light = scene.passbands.efficiency(step.line, at, power)
            made.append(Place(step, step.line, point.drive_other_meter_v, point.frequency_mhz, power, light))
    return made


def _parked(scene: Scene, step: Step, park: Park | float | None) -> Place:
    if park is None:
        raise AotfLabError(
            "no place to park", where=step.line, found=Said("park not given"), allowed="a Park, or MHz",
            cure="give park=session.park, or its frequency",
        )  # fmt: skip
    at = park.best.at_mhz if isinstance(park, Park) else given_number(park, "park", "MHz")
    vco = scene.vco
    low, high = vco.range_mhz
    if not low <= at <= high:
        raise OutOfRangeError("park frequency", at, low, high, "MHz")
    drive = vco.drive_true(at)
    return Place(step, None, drive, vco.frequency_at_true(drive.n), scene.drive.power_w(at), None)


def ready_when_off(places: SequenceOf[Place]) -> tuple[Place, ...]:
    """Return the places with those of RF off at the volts of the next that has RF: the port moves in the dark."""
    result = list(places)
    for i in range(2 * len(result) - 1, -1, -1):
        here, after = i % len(result), result[(i + 1) % len(result)]
        if not result[here].rf_on:
            result[here] = replace(result[here], drive_v=after.drive_v, frequency_mhz=after.frequency_mhz)
    return tuple(result)
