"""Traces that are not used: a spoilt trace is no failure of the bench, but nobody should wonder where it went."""

from __future__ import annotations

from dataclasses import dataclass

from aotf_lab.report.driver_parts import Driver

__all__ = ["UnusedTrace", "unused_traces"]


@dataclass(frozen=True)
class UnusedTrace:
    """The file, which checks it failed, and what each of them found, with the cure."""

    name: str
    reason: str
    details: tuple[str, ...]


def unused_traces(driver: Driver) -> list[UnusedTrace]:
    """Return each trace that gives neither harmonics nor RF power, with the reason."""
    return [
        UnusedTrace(name, wave.withheld, tuple(f"{c.name}: {c.detail}" for c in wave.fit.failed))
        for name, wave in driver.unused.items()
    ]
