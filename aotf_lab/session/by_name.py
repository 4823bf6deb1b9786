"""The results of a session by name, which know why one of them is not there."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NoReturn, TypeVar

from aotf_lab.errors import AotfLabError, Said, SessionError

__all__ = ["ByName"]

_Out = TypeVar("_Out")


class ByName(dict[str, _Out]):
    """Results by the name of their line or file; ``what`` they are, ``failed`` what could not be computed, and why.

    Asking for one that is not there raises ``SessionError`` with the reason; ``get`` and ``in`` are as of any mapping.

    >>> ByName({"E": 1.6}, "beam of line", {})["E"]
    1.6
    """

    def __init__(self, results: Mapping[str, _Out], what: str, failed: Mapping[str, AotfLabError]) -> None:
        super().__init__(results)
        self.what = what
        self.failed = dict(failed)

    def __missing__(self, name: str) -> NoReturn:
        there = ", ".join(map(repr, self)) or "none could be computed"
        error = self.failed.get(name)
        if error is not None:
            raise SessionError(
                f"{self.what} {name!r} could not be computed", found=Said(f"an error ({error})"), allowed=there,
                cure="mend what the error names",
            ) from None  # fmt: skip
        raise SessionError(
            f"{self.what} {name!r} is not in this session", where="session.toml", found=Said("no file of it"),
            allowed=there, cure='ask for one of these, or add its [[file]] (the name is "" where a file names no line)',
        )  # fmt: skip
