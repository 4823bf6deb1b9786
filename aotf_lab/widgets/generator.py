"""What to type into a generator for one line, a pair in turn or a list, and what a slip would make."""

from __future__ import annotations

from dataclasses import dataclass

from aotf_lab.drawing.panel_picture import AnewPicture
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.planning.generator import GeneratorSettings, generator_output, generator_settings
from aotf_lab.planning.generator.typed import DISPLAYS
from aotf_lab.session import Session
from aotf_lab.widgets.controls import number, switch, tick
from aotf_lab.widgets.panel import Panel

__all__ = ["GeneratorPanel", "GeneratorState", "generator_state"]

_HIGHEST_BIAS_V = 30.0


@dataclass(frozen=True)
class GeneratorState:
    """Settings as one kind of display shows them; made by ``generator_state``."""

    settings: GeneratorSettings
    display: str

    @property
    def title(self) -> str:
        """What it is for."""
        return self.settings.title

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, words): what to type on this display, what that makes, then what slips would make."""
        rows = [(f"TYPE, {self.display} display", str(self.settings.typed[self.display]))]
        rows += [r for r in self.settings.made_rows(self.display) if not r[0].startswith("type,")]
        slips: dict[str, list[str]] = {}
        for slip in self.settings.slips:
            slips.setdefault(slip.mistake, []).append(str(slip))
        return (*rows, *((f"wrong: {mistake}", "; ".join(words)) for mistake, words in slips.items()))

    @property
    def remarks(self) -> tuple[str, ...]:
        """What stands against the settings."""
        return (*(str(c) for c in self.settings.checks if not c.passed), *self.settings.output.assumed)

    @property
    def picture_words(self) -> str:
        """The picture in a sentence."""
        levels = ", ".join(
            f"{m.wanted.name} {m.port_v.n:.3f} V" for m in self.settings.made if m.display == self.display
        )
        return f"Volts at the oscillator's port over two cycles, with the volts at which each line lights: {levels}."


def generator_state(
    session: Session, lines: tuple[str, ...], display: str, *, park: bool = False, bias_v: float = 0.0
) -> GeneratorState:
    """Return what to type on ``display`` for ``lines`` in turn, with a level to park at, and a battery in series.

    Raises ``AotfLabError`` where nothing is asked for, and as ``generator_settings``.
    """
    if not lines and not park:
        raise AotfLabError("no level is asked for", found=Said("no line"), allowed="one line or more",
                           cure="press the button of a line")  # fmt: skip
    limits = session.facts.limits
    output = generator_output(limits.generator, limits.oscillator, bias_v=bias_v) if bias_v else session.generator
    place = session.park.best.at_mhz if park else None
    return GeneratorState(generator_settings(session, list(lines), output, park_mhz=place), display)


class GeneratorPanel(Panel[GeneratorState]):
    """Press the lines that are to light in turn; what to type follows, for the display that the generator has."""

    heading = "Generator calculator"

    def __init__(self, session: Session) -> None:
        """Open on the first [[play]] of levels in session.toml, else on the first line that can be set."""
        self.session = session
        names = tuple(session.passbands.lines)
        plays = [p for p in session.facts.plays if p.rate_khz is None and p.dwell_us is None]
        reach = session.vco.range_mhz
        near = [n for n in names if reach[0] <= session.passbands.peak_mhz(n).n <= reach[1]]
        down = tuple(plays[0].lines) if plays else tuple(near[:1])
        self.use = {n: tick(f"line {n}", n in down) for n in names}
        self.park = tick("park", "park" in down)
        self.display = switch("Its display is set for", list(DISPLAYS))
        self.bias_v = number("Battery in series", 0.0, 0.0, _HIGHEST_BIAS_V, 0.1, "V")
        super().__init__([[*self.use.values(), self.park], [self.display, self.bias_v]])
        self._picture = AnewPicture(7.4, 4.2, left=0.085, bottom=0.125, right=0.93, top=0.91)
        self.watch(*self.use.values(), self.park, self.display, self.bias_v)
        self.refresh()

    def state(self) -> GeneratorState:
        """Return what to type."""
        lines = tuple(n for n, button in self.use.items() if button.value)
        return generator_state(
            self.session, lines, self.display.value, park=self.park.value, bias_v=self.bias_v.value
        )  # fmt: skip

    def draw(self, state: GeneratorState | None) -> bytes | None:
        """Return the picture."""
        return None if state is None else self._picture.drawn(state.settings.plot)
