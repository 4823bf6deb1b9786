"""Take values out of one section of a TOML file, refusing what does not belong there, and the file itself apart."""

from __future__ import annotations

import datetime
import difflib
import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

from aotf_lab.errors import AotfLabError, Said, SessionError

__all__ = ["Section", "parsed_toml"]

_REQUIRED = object()
_TEMPLATE = "the template of 'aotf-lab new'"


def parsed_toml(name: str, content: bytes, error: type[AotfLabError] = SessionError) -> dict[str, Any]:
    """Return what the TOML file ``name`` with these bytes says.

    Raises ``error`` that names the line, for bytes that are not UTF-8 and for text that is not TOML.
    """
    try:
        return tomllib.loads(content.decode("utf-8-sig").replace("\r\n", "\n"))
    except UnicodeDecodeError as broken:
        line = content[: broken.start].count(b"\n") + 1
        raise error(
            "text that is not UTF-8", where=f"{name}:{line}", found=Said(f"byte 0x{content[broken.start]:02x}"),
            allowed="UTF-8", cure="save the file as UTF-8",
        ) from None  # fmt: skip
    except (ValueError, RecursionError) as broken:  # a number of thousands of digits, brackets in thousands
        at = re.search(r"at line (\d+)", str(broken))
        text = content.decode("utf-8-sig").replace("\r\n", "\n").split("\n")
        raise error(
            f"not TOML: {broken}", where=f"{name}:{at[1]}" if at else name,
            found=text[int(at[1]) - 1] if at else Said("the end of the file"),
            allowed='lines such as key = 1.5 or key = "text"', cure="correct the line, or the one above it",
        ) from None  # fmt: skip


class Section:
    """One table of a TOML file: each key is asked for once, and ``close`` refuses the rest.

    ``title`` names the section in messages, such as ``session.toml [crystal]``. Every method raises
    ``error`` (``SessionError`` for session.toml) that names section, key, value, what is allowed and the cure.
    """

    def __init__(
        self, title: str, content: object, error: type[AotfLabError] = SessionError, model: str = _TEMPLATE
    ) -> None:
        self.title = title
        self._known: list[str] = []
        self._error, self._model = error, model
        if not isinstance(content, dict):
            raise error(
                "a value where a section belongs", where=title, found=str(content), allowed="a section with keys",
                cure=f"write it as {model} has it",
            )  # fmt: skip
        self._content: dict[str, Any] = content

    def refuse(self, key: str, what: str, allowed: str, cure: str) -> AotfLabError:
        """Return the error for the value of ``key``."""
        found = self._content.get(key, Said("no such key"))
        return self._error(f"{key}: {what}", where=self.title, found=found, allowed=allowed, cure=cure)

    @property
    def keys(self) -> tuple[str, ...]:
        """Every key that is there."""
        return tuple(self._content)

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
        self,
        key: str,
        default: Any = _REQUIRED,
        *,
        above: float | None = None,
        at_least: float | None = None,
        one_of: Sequence[float] | None = None,
    ) -> Any:
        """Return a finite number as float, above or not below a bound, or one of a few."""
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
        if one_of is not None and value not in one_of:
            few = " or ".join(f"{n:g}" for n in one_of)
            raise self.refuse(key, "another number", few, "correct it, or leave the key out if it is unknown")
        return float(value)

    def whole(self, key: str, default: Any = _REQUIRED, *, at_least: int = 0) -> Any:
        """Return a whole number that is not below ``at_least``."""
        value = self._take(key, default)
        if key in self._content and (isinstance(value, bool) or not isinstance(value, int) or value < at_least):
            allowed = f"a whole number of at least {at_least}"
            raise self.refuse(key, "not such a number", allowed, "correct it, or leave the key out")
        return value

    def flag(self, key: str, default: Any = _REQUIRED) -> Any:
        """Return true or false."""
        value = self._take(key, default)
        if not isinstance(value, bool):
            raise self.refuse(key, "neither true nor false", "true or false", f"write {key} = true")
        return value

    def date(self, key: str, default: Any = _REQUIRED) -> Any:
        """Return a day as ISO text (2026-03-16), whether it stands in quotation marks or not."""
        value = self._take(key, default)
        if key not in self._content:
            return value
        if type(value) is datetime.date:
            return value.isoformat()
        try:
            return datetime.date.fromisoformat(value).isoformat()
        except (TypeError, ValueError):
            raise self.refuse(key, "not a day", "a day such as 2026-03-16", f"write {key} = 2026-03-16") from None

    def section(self, key: str) -> Section:
        """Return the section inside this one, empty when it is not there."""
        title = f"{self.title.removesuffix(']')}.{key}]" if "[" in self.title else f"{self.title} [{key}]"
        return Section(title, self._take(key, {}), self._error, self._model)

    def sections(self, key: str) -> list[Section]:
        """Return the repeated sections ``[[key]]`` in order, none when they are not there."""
        value = self._take(key, [])
        if not isinstance(value, list):
            raise self._error(
                "a single value where repeated sections belong", where=f"{self.title} [{key}]", found=str(value),
                allowed=f"[[{key}]] with two brackets on each side", cure=f"write [[{key}]] above each one",
            )  # fmt: skip
        titles = (f"{self.title} [[{key}]] number {n}" for n in range(1, len(value) + 1))
        return [Section(t, item, self._error, self._model) for t, item in zip(titles, value, strict=True)]

    def is_section(self, key: str) -> bool:
        """Return whether the key is there and holds a section, written with [..] or in {..}."""
        return isinstance(self._content.get(key), dict)

    def is_list(self, key: str) -> bool:
        """Return whether the key is there and holds a list, written in brackets."""
        return isinstance(self._content.get(key), list)

    def texts(self, key: str) -> tuple[str, ...]:
        """Return one text, or several in a list, as a tuple; the key must be there and not be an empty list."""
        value = self._take(key, _REQUIRED)
        several = [value] if isinstance(value, str) else value
        if not isinstance(several, list) or not several or not all(isinstance(v, str) for v in several):
            raise self.refuse(key, "not a text, nor a list of texts", 'text in "..."', f'write {key} = "..."')
        return tuple(several)

    def numbers(self, key: str, default: Any = _REQUIRED, *, above: float) -> Any:
        """Return one number, or several in a list, as a tuple of floats, each above a bound."""
        value = self._take(key, default)
        if key not in self._content:
            return value
        several = value if isinstance(value, list) else [value]
        plain = [v for v in several if isinstance(v, int | float) and not isinstance(v, bool) and math.isfinite(v)]
        if not several or len(plain) < len(several) or min(plain) <= above:
            raise self.refuse(
                key, "not such numbers", f"a number above {above:g}, or a list of them", "correct them, without units"
            )
        return tuple(float(v) for v in several)

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
