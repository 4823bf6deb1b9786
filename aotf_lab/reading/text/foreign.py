"""Files that are no tables of text, whatever their name ends in: what each is, and what to do."""

from __future__ import annotations

import json
import re

from aotf_lab.errors import ReadingError, Said

__all__ = ["refuse_foreign_bytes", "refuse_foreign_text"]

_ALLOWED = "a table as plain text (CSV)"
_EXPORT = "open it in the program that wrote it and export the table as CSV"
_MAGIC: tuple[tuple[bytes, str, str], ...] = (
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "a spreadsheet of the old binary kind", _EXPORT),
    (b"%PDF", "a PDF document", _EXPORT),
    (b"\x89PNG\r\n\x1a\n", "a PNG image", "save the readings themselves, not a picture of them"),
    (b"\xff\xd8\xff", "a JPEG image", "save the readings themselves, not a picture of them"),
    (b"GIF8", "a GIF image", "save the readings themselves, not a picture of them"),
    (b"II*\x00", "a TIFF image", "save the readings themselves, not a picture of them"),
    (b"MM\x00*", "a TIFF image", "save the readings themselves, not a picture of them"),
    (b"BM", "a BMP image", "save the readings themselves, not a picture of them"),
    (b"\x1f\x8b", "a gzip archive", "unpack it first"),
    (b"BZh", "a bzip2 archive", "unpack it first"),
    (b"\xfd7zXZ\x00", "an xz archive", "unpack it first"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive", "unpack it first"),
    (b"\x89HDF\r\n\x1a\n", "an HDF5 file", _EXPORT),
    (b"{\\rtf", "a document of a word processor", "save the table as plain text"),
)
_ZIP = (b"PK\x03\x04", b"PK\x05\x06")
_SHEET_PARTS = (b"xl/", b"[Content_Types].xml", b"mimetypeapplication/vnd.oasis")
_HTML = re.compile(
    r"<!doctype\s+html|<(?:html|head|body|table|title|meta|script|div|p|pre|tr|td|br|h1)[\s>/]", re.IGNORECASE
)
_XML = re.compile(r"<(?:\?xml|!--|!DOCTYPE|[A-Za-z_][\w:.-]*[\s/>])")
_JSON = re.compile(r'\{\s*(?:"|\}$)|\[\s*(?:[{\["\d-])')


def refuse_foreign_bytes(name: str, content: bytes) -> None:
    """Raise ``ReadingError`` when ``content`` is a spreadsheet, an archive, a document, an image, HTML, XML or JSON."""
    if content.startswith(_ZIP):
        sheet = any(part in content[:4096] for part in _SHEET_PARTS)
        what = "a spreadsheet (a zip archive of its parts)" if sheet else "a zip archive"
        raise _foreign(name, what, content[:4], _EXPORT if sheet else "unpack it first")
    for magic, what, cure in _MAGIC:
        if content.startswith(magic) and (magic != b"BM" or b"\x00" in content[:32]):
            raise _foreign(name, what, content[: len(magic)], cure)
    refuse_foreign_text(name, content[:4096].decode("latin-1").removeprefix("\u00ef\u00bb\u00bf"), whole=False)


def refuse_foreign_text(name: str, text: str, *, whole: bool = True) -> None:
    """Raise ``ReadingError`` when ``text`` is HTML, XML or JSON; ``whole`` is false for the start of a file only."""
    start = text[:4096].lstrip("\ufeff \t\r\n")
    if start.startswith("<"):
        if _HTML.match(start) or (_XML.match(start) and _HTML.search(start)):
            cure = "open the page and export the table as CSV, or download the file itself"
            raise _foreign(name, "an HTML page", _first_line(start), cure)
        if _XML.match(start):
            raise _foreign(name, "an XML file", _first_line(start), _EXPORT)
    if whole and _JSON.match(start) and (start.startswith("{") or _is_json(text)):
        raise _foreign(name, "a JSON file", _first_line(start), "export the readings as CSV")


def _is_json(text: str) -> bool:
    if not text.rstrip().endswith("]"):
        return bool(re.match(r'\[\s*\{\s*"', text.lstrip("\ufeff \t\r\n")))
    try:
        json.loads(text.lstrip("\ufeff"))
    except (ValueError, RecursionError):
        return False
    return True


def _first_line(text: str) -> str:
    return text.splitlines()[0][:60]


def _foreign(name: str, what: str, start: str | bytes, cure: str) -> ReadingError:
    shown = start if isinstance(start, str) else Said("bytes " + start.hex(" "))
    return ReadingError(f"{what}, not a table of text", where=f"{name}:1", found=shown, allowed=_ALLOWED, cure=cure)
