"""Say which line each peak is, and see at once whether the others agree: each is left out in turn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from uncertainties import UFloat

from aotf_lab.crystal.identity.found import LineFound, lines_found
from aotf_lab.crystal.identity.identity import Identity
from aotf_lab.crystal.identity.peaks import Peaks, as_peaks
from aotf_lab.crystal.tuning.curve import Tuning, fit_tuning
from aotf_lab.data import CatalogueLine
from aotf_lab.drawing.panel_assignment import AssignmentPicture
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.estimation.checks import z_limit
from aotf_lab.planning.set_point import shown
from aotf_lab.session import Session
from aotf_lab.widgets.controls import button, choice
from aotf_lab.widgets.panel import Panel

__all__ = ["AssignmentPanel", "AssignmentState", "assignment_state", "lines_to_choose"]

NO_LINE = "none of them"


@dataclass(frozen=True)
class AssignmentState:
    """Peaks with the line that each is said to be; made by ``assignment_state``.

    ``found`` says what the others make of each peak, ``tuning`` is the curve through all that are assigned.
    """

    peaks: Peaks = field(repr=False)
    lines: Mapping[str, CatalogueLine | None]
    found: tuple[LineFound, ...]
    tuning: Tuning = field(repr=False)

    @property
    def limit(self) -> float:
        """The gap (in u) from which a peak is too far from the others."""
        return z_limit(sum(line is not None for line in self.lines.values()))

    @property
    def wrong(self) -> tuple[str, ...]:
        """The peaks that lie too far from what the others say of them."""
        return tuple(f.peak for f in self.found if f.z is not None and abs(f.z) > self.limit)

    @property
    def title(self) -> str:
        """Whether the assignment holds."""
        many = sum(line is not None for line in self.lines.values())
        agree = "all agree" if not self.wrong else f"{', '.join(self.wrong)} against the others"
        return f"{many} of {len(self.peaks)} peaks assigned: {agree}"

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit): the whole, then each peak."""
        fit = self.tuning.fit
        rows = [
            ("chi2/dof", f"{fit.chi2:.1f}/{max(fit.dof, 0.0):.3g}"),
            (
                "velocity x birefringence",
                f"{shown(self.tuning.velocity_birefringence(self.tuning.law.reference_nm))} m/s",
            ),
            ("limit", f"{self.limit:.1f} u"),
        ]
        return (
            *rows,
            *((f"peak {f.peak}", self._words(f, p)) for f, p in zip(self.found, self.peaks.own, strict=True)),
        )

    def _words(self, each: LineFound, own: UFloat) -> str:
        text = f"{shown(own)} MHz: "
        if each.line is None:
            text += NO_LINE
        else:
            text += f"{each.line.name}, {each.line.wavelength_nm:.2f} nm (u {each.line.u_wavelength_nm:.2g})"
        if each.wavelength_nm is not None:
            text += f"; the others put it at {shown(each.wavelength_nm)} nm"
        return text if each.z is None else f"{text}, a gap of {each.z:+.1f} u"

    @property
    def remarks(self) -> tuple[str, ...]:
        """The checks of the curve that failed: a suspect is named, with what would cure it."""
        return tuple(str(c) for c in self.tuning.fit.failed)

    @property
    def picture_words(self) -> str:
        """The picture in a sentence."""
        gaps = ", ".join(f"{f.peak} {f.z:+.1f}" for f in self.found if f.z is not None)
        return (
            f"Above, each peak at the wavelength of its line, and where the others put it; below, the gap of each in "
            f"standard uncertainties, limit {self.limit:.1f}: {gaps or 'none can be given'}."
        )


def lines_to_choose(stated: Mapping[str, UFloat]) -> dict[str, CatalogueLine]:
    """Return the lines of a bench by name, from their vacuum wavelengths (nm)."""
    return {n: CatalogueLine(n, nm.n, nm.s, "session.toml", "stated") for n, nm in stated.items()}


def assignment_state(
    peaks: Mapping[str, UFloat], lines: Mapping[str, CatalogueLine | None], material: str = "TeO2"
) -> AssignmentState:
    """Return what comes of saying that each of ``peaks`` (MHz) is its line, None for none of them.

    Raises ``AotfLabError`` for fewer than two lines or a line given to two peaks, ``ReadingsError`` where the curve
    would not fall with wavelength.
    """
    numbers = as_peaks(peaks)
    given = {name: line for name in numbers.names if (line := lines.get(name)) is not None}
    twice = [name for name, line in given.items() if list(given.values()).count(line) > 1]
    if twice or len(given) < 2:
        raise AotfLabError(
            "one line for two peaks" if twice else "too few peaks with a line",
            found=Said(f"{given[twice[0]].name} for {', '.join(twice)}" if twice else str(len(given))),
            allowed="each line once, for two peaks or more", cure="choose another line",
        )  # fmt: skip
    rows = [numbers.names.index(name) for name in given]
    table = pd.DataFrame({
        "label": [f"{name} as {line.name}" for name, line in given.items()],
        "wavelength_nm": [line.wavelength_nm for line in given.values()],
        "u_wavelength_nm": [line.u_wavelength_nm for line in given.values()],
        "frequency_mhz": numbers.frequency_mhz[rows],
        "u_frequency_mhz": numbers.u_mhz[rows],
    })  # fmt: skip
    tuning = fit_tuning(table, material=material, known_lines=[x for x in given.values() if x is not None])
    said = {name: given.get(name) for name in numbers.names}
    return AssignmentState(numbers, said, lines_found(numbers, tuple(said.values()), tuning.law, 1.0), tuning)


class AssignmentPanel(Panel[AssignmentState]):
    """Choose a line for each peak (``line_of``); the curve and what the others say of each peak follow."""

    heading = "Which line is which peak"

    def __init__(self, session: Session, lines: Mapping[str, UFloat] | None = None) -> None:
        """Open on the scans' own names; ``lines`` (name -> vacuum nm) replaces the wavelengths of ``session``."""
        self.material = session.facts.crystal.material
        self.peaks = {name: scan.centre_mhz for name, scan in session.scans.items()}
        self.lines = lines_to_choose(session.stated_nm if lines is None else lines)
        names = as_peaks(self.peaks).names
        options = [(NO_LINE, "")] + [(f"{n}, {x.wavelength_nm:.2f} nm", n) for n, x in self.lines.items()]
        self.line_of = {n: choice(f"Peak {n}", options, n if n in self.lines else "") for n in names}
        self.likeliest = button("Take the likeliest by the shape of the curve")
        self.as_named = button("Take the names of the scans")
        boxes = list(self.line_of.values())
        super().__init__([boxes[k : k + 2] for k in range(0, len(boxes), 2)] + [[self.likeliest, self.as_named]])
        self._identity: Identity | None = session.part("identity") if lines is None else None
        self.likeliest.disabled = self._identity is None
        self._picture = AssignmentPicture(
            names,
            as_peaks(self.peaks).frequency_mhz,
            [x.wavelength_nm for x in self.lines.values()],
            z_limit(len(names)),
        )
        self.watch(*boxes)
        self.on_press(self.likeliest, self._take_likeliest)
        self.on_press(self.as_named, self._take_names)
        self.refresh()

    def _take_likeliest(self) -> None:
        if self._identity is not None:
            for name, line in self._identity.lines.items():
                self.line_of[name].value = "" if line is None or line.name not in self.lines else line.name

    def _take_names(self) -> None:
        for name, box in self.line_of.items():
            box.value = name if name in self.lines else ""

    def state(self) -> AssignmentState:
        """Return what comes of the lines chosen."""
        chosen = {name: self.lines.get(box.value) for name, box in self.line_of.items()}
        return assignment_state(self.peaks, chosen, self.material)

    def draw(self, state: AssignmentState | None) -> bytes:
        """Return the picture."""
        if state is None:
            return self._picture.png(still_only=True)
        given = [np.nan if line is None else line.wavelength_nm for line in state.lines.values()]
        found = [np.nan if f.wavelength_nm is None else f.wavelength_nm.n for f in state.found]
        z = [np.nan if f.z is None else f.z for f in state.found]
        grid = np.linspace(*state.tuning.range_nm, 160)
        curve = state.tuning.law(grid, *state.tuning.fit.values)
        return self._picture.drawn(np.array(given), np.array(found), np.array(z), (grid, curve))
