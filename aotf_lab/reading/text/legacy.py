"""One byte for one sign: whether bytes outside ASCII are Windows-1252 (or Latin-1, which it holds).

Any bytes at all can be read as Latin-1, so a damaged UTF-8 file would pass. It is taken only when each
sign outside ASCII is one that bench files hold, in a place where it makes sense.
"""

from __future__ import annotations

import re

from aotf_lab.errors import ReadingError, Said

__all__ = ["decode_legacy"]

_UNDEFINED = bytes([0x81, 0x8D, 0x8F, 0x90, 0x9D])
_SIGNS = frozenset("\u00a0°±²³¹µ·×÷§½–—‘’“”…‰Ω")
_MULTIBYTE = re.compile(rb"[\xc2-\xdf][\x80-\xbf]|[\xe0-\xef][\x80-\xbf]{2}")
_LONE_MICRO = re.compile(r"[0-9]\s?µ(?![A-Za-z])")
_IN_NUMBER = re.compile(r"[0-9.][°±²³¹·×÷§½–—“”…‰](?=[0-9.])")
_HIGH = re.compile(r"[^\x00-\x7f]")


def decode_legacy(name: str, content: bytes, error: UnicodeDecodeError) -> tuple[str, str]:
    """Return the text of ``content`` read as Windows-1252 and the evidence, ``error`` being why it is not UTF-8.

    Raises ``ReadingError`` where a sign is not plausible, or where some of it is UTF-8 and some is not.
    """
    undefined = [content.find(byte) for byte in _UNDEFINED if byte in content]
    if undefined:
        raise _neither(name, content, min(undefined), "a byte that Windows-1252 does not have")
    mixed = _MULTIBYTE.search(content)
    if mixed:
        raise _neither(name, content, error.start, f"while line {_line(content, mixed.start())} is UTF-8")
    text = content.decode("cp1252")
    position = _implausible(text)
    if position is not None:
        raise _neither(name, content, position, f"which in Windows-1252 would be {text[position]!r}")
    signs = "".join(sorted(set(_HIGH.findall(text))))
    return text, f"not UTF-8; the signs outside ASCII make sense in Windows-1252 and Latin-1: {_shown(signs)}"


def _implausible(text: str) -> int | None:
    """Return the position (one byte is one sign) of the first sign that makes no sense, None when all do."""
    for match in _HIGH.finditer(text):
        sign, at = match[0], match.start()
        if sign not in _SIGNS and not (sign.isalpha() and _in_a_word(text, at)):
            return at
    inside = _IN_NUMBER.search(text)
    if inside:
        return inside.start() + 1
    lone = list(_LONE_MICRO.finditer(text))
    if len(lone) == 1:  # 850u may stand in a column of its like; a single one may be a damaged digit 5
        return lone[0].end() - 1
    return None


def _in_a_word(text: str, at: int) -> bool:
    around = text[max(at - 1, 0) : at] + text[at + 1 : at + 2]
    return any(sign.isalpha() for sign in around)


def _line(content: bytes, position: int) -> int:
    before = content[:position]
    return before.count(b"\n") + before.count(b"\r") - before.count(b"\r\n") + 1


def _shown(signs: str) -> str:
    return " ".join("no-break blank" if sign == "\u00a0" else sign for sign in signs)


def _neither(name: str, content: bytes, position: int, why: str) -> ReadingError:
    return ReadingError(
        "text that is not UTF-8, and not plainly Windows-1252", where=f"{name}:{_line(content, position)}",
        found=Said(f"byte 0x{content[position]:02x}, {why}"), allowed="UTF-8, UTF-16, Windows-1252 or Latin-1",
        cure='state the encoding in a layout, such as encoding = "Latin-1", or copy a damaged file anew',
    )  # fmt: skip
