"""What every instrument of the bench has: fields that may be left out, each with the bound that its value must keep."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields

from aotf_lab.errors import SessionError

__all__ = ["Instrument", "or_default", "said", "stated"]


def stated(
    *, above: float | None = None, at_least: float | None = None, one_of: tuple[float, ...] | None = None
) -> float | None:
    """Return a field that may be left out, with the bound that its value must keep, or the few that it may have."""
    bound: float | None = field(default=None, metadata={"above": above, "at_least": at_least, "one_of": one_of})
    return bound


@dataclass(frozen=True)
class Instrument:
    """An instrument whose fields are all ``stated``; raises ``SessionError`` for a value outside its bound."""

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            above, least, few = (item.metadata[bound] for bound in ("above", "at_least", "one_of"))
            good = value is None or (
                math.isfinite(value) and (above is None or value > above) and (least is None or value >= least)
            )
            if value is not None and few is not None and value not in few:
                raise SessionError(
                    f"{type(self).__name__} {item.name}", found=value, allowed=" or ".join(f"{n:g}" for n in few),
                    cure="correct it, or leave it out",
                )  # fmt: skip
            if not good:
                raise SessionError(
                    f"{type(self).__name__} {item.name}",
                    found=value,
                    allowed=f"a number above {above:g}" if above is not None else f"a number of {least:g} or more",
                    cure="correct it, or leave it out to have a wide default",
                )


def said(*pairs: tuple[float | None, str]) -> tuple[str, ...]:
    """Return the words beside every value that is None."""
    return tuple(words for value, words in pairs if value is None)


def or_default(value: float | None, default: float) -> float:
    """Return ``value``, or ``default`` where it is None."""
    return default if value is None else value
