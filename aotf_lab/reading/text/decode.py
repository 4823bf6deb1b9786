"""From bytes to text: in which encoding a raw file stands, and on what evidence.

charset-normalizer 3.5 was tried on short Windows-1252 bench files and named Big5 or CP932 for all of five
(and Big5 for one in UTF-8), so the encoding is found by rule: byte order mark, NUL pattern, strict UTF-8,
else Windows-1252 if every sign in it is one that bench files hold (``legacy.py``).
"""

from __future__ import annotations

import codecs
import re

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.text.legacy import decode_legacy

__all__ = ["decode", "line_of"]

_MARKS = (
    (codecs.BOM_UTF8, "UTF-8"),
    (codecs.BOM_UTF32_LE, "UTF-32-LE"),  # before UTF-16-LE, whose mark it starts with
    (codecs.BOM_UTF32_BE, "UTF-32-BE"),
    (codecs.BOM_UTF16_LE, "UTF-16-LE"),
    (codecs.BOM_UTF16_BE, "UTF-16-BE"),
)
_SAMPLE_BYTES = 65536
_BAD_SIGN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")


def decode(name: str, content: bytes, stated: str | None = None) -> tuple[str, str, str]:
    """Return the text of ``content``, the name of its encoding, and the evidence for it.

    ``stated`` is the encoding that a layout names. A byte order mark is taken off. Raises ``ReadingError``
    for an encoding that cannot be told, for bytes that are not of it, and for control signs.

    >>> decode("log.csv", b"T (\\xb0C)\\n22")[:2]
    ('T (°C)\\n22', 'Windows-1252')
    """
    text, encoding, evidence = _stated(name, content, stated) if stated else _found(name, content)
    text = text.removeprefix("\ufeff").replace("\n\ufeff", "\n")
    text = re.sub(r"\x1a\s*\Z", "", text)  # the end of a text, as old systems mark it
    bad = _BAD_SIGN.search(text)
    if bad:
        raise ReadingError(
            "a control sign in the text", where=f"{name}:{line_of(text, bad.start())}",
            found=Said(f"U+{ord(bad[0]):04X} in {encoding}"), allowed="printed signs, tabs and line ends",
            cure="copy the file from the instrument anew, or state encoding in a layout if it is another",
        )  # fmt: skip
    return text, encoding, evidence


def line_of(text: str, position: int) -> int:
    """Return the 1-based line on which ``position`` of ``text`` stands.

    >>> line_of("a\\r\\nb\\rc", 5)
    3
    """
    before = text[:position]
    return before.count("\n") + before.count("\r") - before.count("\r\n") + 1


def _found(name: str, content: bytes) -> tuple[str, str, str]:
    for mark, encoding in _MARKS:
        if content.startswith(mark):
            return _strictly(name, content, encoding), encoding, "byte order mark"
    wide = _nul_pattern(content[:_SAMPLE_BYTES])
    if wide:
        return _strictly(name, content, wide), wide, "no byte order mark; every other byte is NUL"
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as error:
        text, evidence = decode_legacy(name, content, error)
        return text, "Windows-1252", evidence
    if text.isascii():
        return text, "UTF-8", "ASCII only"
    return text, "UTF-8", "no byte order mark; every sign outside ASCII is well-formed UTF-8"


def _nul_pattern(head: bytes) -> str:
    """Return the UTF-16 whose ASCII signs would put the NUL bytes where they stand, "" for none."""
    first, second = head[0::2].count(0), head[1::2].count(0)
    half = len(head) // 2
    if half and second >= 0.7 * half and first == 0:
        return "UTF-16-LE"
    if half and first >= 0.7 * half and second == 0:
        return "UTF-16-BE"
    return ""


def _stated(name: str, content: bytes, stated: str) -> tuple[str, str, str]:
    try:
        codecs.lookup(stated)
        "".encode(stated)
    except (LookupError, ValueError):
        raise ReadingError(
            "an encoding that is not known", where=f"{name}, layout", found=stated,
            allowed="UTF-8, UTF-16-LE, UTF-16-BE, Windows-1252, Latin-1 and others by their usual names",
            cure="correct encoding in the layout",
        ) from None  # fmt: skip
    return _strictly(name, content, stated), stated, "stated in the layout"


def _strictly(name: str, content: bytes, encoding: str) -> str:
    try:
        return content.decode(encoding)
    except UnicodeDecodeError as error:
        line = line_of(content[: error.start].decode(encoding, "replace"), error.start)
        raise ReadingError(
            f"text that is not {encoding}", where=f"{name}:{line}",
            found=Said(f"byte 0x{content[error.start]:02x}"), allowed=f"{encoding} throughout",
            cure='copy the file anew if it was cut, or state the encoding in a layout: encoding = "Windows-1252"',
        ) from None  # fmt: skip
