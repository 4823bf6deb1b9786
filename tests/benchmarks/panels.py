"""How long a panel takes from a changed control to the finished picture and numbers, without a browser.

``python -m tests.benchmarks.panels [ROUNDS]`` changes each control of each panel on the demo session, every time to
another value, and states the median of the wall time and of the processor's own time (other programs may share the
machine), the 90 % point, and the ratio to drawing the same kind of figure from nothing with pyplot's Agg canvas: one
Axes, 7 curves of 3,000 points, labels, grid and legend, saved as PNG, in the same run. A change should show within
100 ms; that is judged by the processor's own time, since on a machine that has nothing else to do the wall time is the
same. A log of 600 rows and more is read as a whole, every 10 s: its readings are shown first, then the law is fitted to
all of them. The hops of a sequence are followed once: another dwell needs none of them again, another line or another
kick those that it is part of.
"""

from __future__ import annotations

import io
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from aotf_lab.session import Session, open_session
from aotf_lab.session.keep import records_of
from aotf_lab.widgets import (
    AssignmentPanel,
    DrivePanel,
    FitPanel,
    GeneratorPanel,
    NewLinePanel,
    OpeningPanel,
    Panel,
    ParkPanel,
    SequencePanel,
    TunePanel,
    WarmUpPanel,
)
from tests.benchmarks.table import write_table
from tests.house import ROOT

DEMO = ROOT / "data" / "demo" / "skerry"
ROUNDS = 40
WANTED_MS = 100.0


@dataclass(frozen=True)
class Change:
    """A control of a panel, and what changes it for the k-th time; ``before`` is not timed."""

    panel: Panel
    what: str
    work: Callable[[int], object]
    before: Callable[[int], object] = lambda k: None


def setting(panel: Panel, name: str, low: float, high: float) -> Change:
    """Return the change of a number to values that never come twice."""

    def work(k: int) -> None:
        getattr(panel, name).value = low + (high - low) * ((0.618034 * (k + 1)) % 1.0)

    return Change(panel, getattr(panel, name).description.split(" (")[0], work)


def changes(session: Session, folder: Path) -> Iterator[Change]:
    """Yield every change that is timed."""
    tune = TunePanel(session)
    yield setting(tune, "drive_v", 1.0, 13.0)
    yield setting(tune, "frequency_mhz", 46.0, 92.0)
    yield setting(tune, "supply_v", 5.0, 9.5)
    drive = DrivePanel(session)
    yield setting(drive, "supply_v", 5.0, 9.5)
    by_power = DrivePanel(session)
    by_power.by.value = "RF power"
    yield setting(by_power, "rf_power_w", 0.05, 0.7)
    park = ParkPanel(session)
    yield setting(park, "at_mhz", 45.0, 78.0)
    yield setting(NewLinePanel(session), "wavelength_nm", 455.0, 670.0)
    for name in ("oscillator", "tuning curve", "scan of line E"):
        yield leaving_out(session, name)
    yield assigning(session)
    yield pressing(session)
    yield sequence_of(session, 2)
    yield sequence_of(session, 4)
    yield sequence_of(session, 4, by_kick=True)
    log = WarmUpPanel(session)
    yield setting(log, "share_percent", 2.0, 20.0)
    yield growing(session, folder, by_law=False)
    yield growing(session, folder, by_law=True)
    yield from opening(session)
    yield setting(park, "supply_v", 5.0, 9.5)


def leaving_out(session: Session, name: str) -> Change:
    """Return the leaving out of one reading after the other, each put back before the next."""
    panel = FitPanel(session)
    panel.name.value = name

    def work(k: int) -> None:
        with panel.held():
            panel.left_out[name].clear()
            panel.point.value = k % len(panel.fits[name].y)
            panel.reason.value = "test"
        panel.leave_out.click()

    return Change(panel, f"leave out, {name}", work)


def assigning(session: Session) -> Change:
    """Return the taking away of one line, and its giving back."""
    panel = AssignmentPanel(session)
    names = list(panel.line_of)

    def work(k: int) -> None:
        name = names[(k // 2) % len(names)]
        panel.line_of[name].value = "" if k % 2 == 0 else name

    return Change(panel, "line of a peak", work)


def pressing(session: Session) -> Change:
    """Return the pressing of a line's button, and again."""
    panel = GeneratorPanel(session)

    def work(k: int) -> None:
        button = panel.use["CFG"[(k // 2) % 3]]
        button.value = not button.value

    return Change(panel, "a line in the generator's list", work)


def sequence_of(session: Session, steps: int, *, by_kick: bool = False) -> Change:
    """Return a new dwell of one of ``steps`` steps, or another kick, for which each hop is followed anew."""
    panel = SequencePanel(session)
    with panel.held():
        for name, box in panel.dwell_us.items():
            box.value = 50.0 if name in "DEFG"[:steps] else 0.0

    def work(k: int) -> None:
        if by_kick:
            panel.kick_us.value = 1.5 + 0.01 * k
        else:
            panel.dwell_us["D"].value = 51.0 + k

    return Change(panel, f"{'the kick' if by_kick else 'a dwell'}, {steps} steps", work)


def growing(session: Session, folder: Path, *, by_law: bool) -> Change:
    """Return what shows a log that has one row more each time, or what fits the law to it."""
    rows = (DEMO / "warmup_log.csv").read_bytes().split(b"\n")
    path = folder / f"warmup_log_{by_law}.csv"
    path.write_bytes(b"\n".join(rows[:600]) + b"\n")
    panel = WarmUpPanel(session, path)

    def before(k: int) -> None:
        path.write_bytes(b"\n".join(rows[: 601 + k]) + b"\n")
        if by_law:
            panel.read()

    what = "the law of a longer log" if by_law else "readings of a longer log"
    return Change(panel, what, lambda k: panel.fit() if by_law else panel.read(), before)


def opening(session: Session) -> Iterator[Change]:
    """Yield a reading of an opening check with two others and a peak taken in, and the peak."""
    oscillator, crystal = records_of(session, measured="2026-03-16")
    panel = OpeningPanel(oscillator, crystal, measured="2026-07-14")
    for box in (*panel.frequency_mhz, panel.peak_mhz):
        box.value += 0.1
    for box, what in ((panel.frequency_mhz[1], "a reading"), (panel.peak_mhz, "a peak")):
        low = box.value

        def work(k: int, box=box, low=low) -> None:
            box.value = low + 0.02 * ((0.618034 * (k + 1)) % 1.0)

        yield Change(panel, what, work)


def plain_figure() -> bytes:
    """Return a comparable figure made from nothing."""
    figure = Figure(figsize=(7.4, 4.6), dpi=100)
    FigureCanvasAgg(figure)
    ax = figure.add_subplot()
    x = np.linspace(44.0, 96.0, 3000)
    for k in range(7):
        ax.plot(x, np.sinc(x - 50 - 6 * k) ** 2, label=f"line {k}")
    ax.set_xlabel("Frequency (MHz)")
    ax.set_ylabel("Light")
    ax.grid(visible=True)
    ax.legend()
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png")
    return buffer.getvalue()


def timed(work: Callable[[], object]) -> tuple[float, float]:
    """Return wall and processor time in ms."""
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    return 1e3 * (time.perf_counter() - wall), 1e3 * (time.process_time() - cpu)


def measured(change: Change, rounds: int) -> tuple[list[float], list[float], list[float]]:
    """Return wall times, processor times, and ratios of the latter to a plain figure made next to each."""
    wall, cpu, ratio = [], [], []
    for k in range(rounds + 3):
        change.before(k)
        before = change.panel.image.value, change.panel.numbers.value
        took = timed(lambda k=k: change.work(k))
        plain = timed(plain_figure)
        if change.panel.problems or change.panel.now is None:
            raise RuntimeError(f"{change.panel.heading}, {change.what}: {change.panel.said.value}")
        if (change.panel.image.value, change.panel.numbers.value) == before:
            raise RuntimeError(f"{change.panel.heading}, {change.what}: nothing changed")
        if k >= 3:
            wall.append(took[0])
            cpu.append(took[1])
            ratio.append(took[1] / plain[1])
    return wall, cpu, ratio


def main() -> None:
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else ROUNDS
    session = open_session(DEMO)
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for change in changes(session, Path(folder)):
            wall, cpu, ratio = measured(change, rounds)
            rows.append((
                change.panel.heading, change.what, f"{statistics.median(wall):.0f}", f"{statistics.median(cpu):.0f}",
                f"{np.quantile(cpu, 0.9):.0f}", f"{statistics.median(ratio):.2f}",
                "yes" if statistics.median(cpu) <= WANTED_MS else "no",
            ))  # fmt: skip
    load = f"{os.getloadavg()[2]:.1f} programs wanted the {os.cpu_count()} processors on average meanwhile."
    heads = ("panel", "change of", "wall median (ms)", "processor median (ms)", "processor 90 % (ms)",
             "ratio to a plain figure", f"within {WANTED_MS:g} ms")  # fmt: skip
    write_table("panels", heads, rows, f"{__doc__ or ''}\n\n{rounds} changes of each control. {load}")


if __name__ == "__main__":
    main()
