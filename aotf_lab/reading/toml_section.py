"""Take values out of one section of a TOML file, refusing what does not belong there."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping, Sequence
from typing import Any

from aotf_lab.errors import Said, SessionError

__all__ = ["Section"]

_REQUIRED = object()


class Section:
    """One table of a TOML file: each key is asked for once, and ``close`` refuses the rest.

    ``title`` names the section in messages, such as ``session.toml [crystal]``. Every method raises
    ``SessionError`` that names section, key, value, what is allowed and the cure.
    """

    def __init__(self, title: str, content: object) -> None:
        self.title = title
        self._known: list[str] = []
        if not isinstance(content, dict):
            raise SessionError(
                "a value where a section belongs", where=title, found=str(content), allowed="a section with keys",
                cure="write it as the template of 'aotf-lab new' has it",
            )  # fmt: skip
        self._content: dict[str, Any] = content

    def refuse(self, key: str, what: str, allowed: str, cure: str) -> SessionError:
        """Return the error for the value of ``key``."""
        found = self._content.get(key, Said("no such key"))
        return SessionError(f"{key}: {what}", where=self.title, found=found, allowed=allowed, cure=cure)

    def has(self, key: str) -> bool:
        """Return whether the key is there."""
        return key in self._content

    def _take(self, key: str, default: object) -> Any:
        self._known.append(key)
        if key in self._content:
            return self._content[key]
        if default is _REQUIRED:
            raise self.refuse(key, "missing", f"a value for {key}", f"add {key} = ... to the section")
        return default

    def text(self, key: str, default: Any = _REQUIRED) -> Any:
        """Return a text; without ``default`` the key must be there and not be empty."""
        value = self._take(key, default)
        if value is not default and (not isinstance(value, str) or (default is _REQUIRED and not value.strip())):
            raise self.refuse(key, "not a text", 'text in "..."', f'write {key} = "..."')
        return value

    def choice(self, key: str, options: Sequence[str], default: Any = _REQUIRED) -> Any:
        """Return one of ``options``."""
        value = self.text(key, default)
        if value is not default and value not in options:
            near = difflib.get_close_matches(value, options, 1)
            cure = f'write "{near[0]}" if that is meant' if near else "use one of these words"
            raise self.refuse(key, "not one of the words that are understood", ", ".join(options), cure)
        return value

    def number(
        self, key: str, default: Any = _REQUIRED, *, above: float | None = None, at_least: float | None = None
    ) -> Any:
        """Return a finite number as float, above or not below a bound."""
        value = self._take(key, default)
        if key not in self._content:
            return value
        bound = "" if above is None and at_least is None else f" {'above' if above is not None else 'of at least'} "
        bound += "" if not bound else f"{above if above is not None else at_least:g}"
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise self.refuse(
                key, "not a number", f"a number{bound}", "write it plainly, without unit or quotation marks"
            )
        if (above is not None and not value > above) or (at_least is not None and not value >= at_least):
            raise self.refuse(
                key, "out of bounds", f"a number{bound}", "correct it, or leave the key out if it is unknown"
            )
        return float(value)

    def section(self, key: str) -> Section:
        """Return the section inside this one, empty when it is not there."""
        return Section(f"{self.title.removesuffix(']')}.{key}]" if "[" in self.title else f"{self.title} [{key}]",
                       self._take(key, {}))  # fmt: skip

    def sections(self, key: str) -> list[Section]:
        """Return the repeated sections ``[[key]]`` in order, none when they are not there."""
        value = self._take(key, [])
        if not isinstance(value, list):
            raise SessionError(
                "a single value where repeated sections belong", where=f"{self.title} [{key}]", found=str(value),
                allowed=f"[[{key}]] with two brackets on each side", cure=f"write [[{key}]] above each one",
            )  # fmt: skip
        return [Section(f"{self.title} [[{key}]] number {n}", item) for n, item in enumerate(value, start=1)]

    def column_map(self, key: str) -> Mapping[str, str | tuple[str, ...]]:
        """Return a table of names to headings; a heading may be a list of them."""
        value = self._take(key, {})
        texts = isinstance(value, dict) and all(
            isinstance(v, str) or (isinstance(v, list) and all(isinstance(h, str) for h in v)) for v in value.values()
        )
        if not texts:
            raise self.refuse(
                key, "not a map of columns", 'names and headings, such as { drive_v = "Set (V)" }',
                "write each heading in quotation marks",
            )  # fmt: skip
        return {k: v if isinstance(v, str) else tuple(v) for k, v in value.items()}

    def close(self) -> None:
        """Refuse every key that nobody asked for."""
        for key in self._content:
            if key not in self._known:
                near = difflib.get_close_matches(key, self._known, 1)
                cure = f"write {near[0]} if that is meant, or delete the line" if near else "delete the line"
                raise self.refuse(key, "unknown key", ", ".join(self._known), cure)
