"""A file read once from front to back in pieces of whole lines, hashed on the way."""

from __future__ import annotations

import codecs
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.source import SourceFile

__all__ = ["PIECE_BYTES", "Piece", "Stream", "as_lines"]

PIECE_BYTES = 2**21
"""Bytes read at a time: little memory, and large enough that pandas' start costs little."""


@dataclass(frozen=True)
class Piece:
    """Whole lines of a file as UTF-8, each ended by one line feed.

    ``first_line`` is the 1-based line of the first; ``share`` the share of the file read by its end;
    ``ended`` is false for the last piece of a file whose last line does not end.
    """

    data: bytes
    first_line: int
    share: float
    ended: bool = True


def as_lines(data: bytes) -> bytes:
    """Return ``data`` with every line end (CR LF, CR, LF) as one line feed.

    >>> as_lines(b"1\\r\\n2\\r3\\n")
    b'1\\n2\\n3\\n'
    """
    return data.replace(b"\r\n", b"\n").replace(b"\r", b"\n") if b"\r" in data else data


class Stream:
    """The bytes of the file ``path``, opened for reading only, in pieces of whole lines.

    First ``head`` returns the beginning; then ``pieces`` yields everything, the head included. When
    the last piece has been taken, ``source`` has the hash of the whole file. Raises ``ReadingError``
    for a file that cannot be opened, bytes that the encoding does not have, and a line without an end.
    """

    def __init__(self, path: Path, file: BinaryIO, size_bytes: int) -> None:
        self.name = path.name
        self._path, self._file, self._size = path, file, size_bytes
        self._hash = hashlib.sha256()
        self._read = 0
        self._head = b""

    def head(self, size_bytes: int) -> bytes:
        """Return the first bytes, up to the end of the last whole line in them."""
        self._head = self._take(size_bytes)
        if self._read >= self._size:
            return self._head
        cut = self._head.rfind(b"\n") + 1 or self._head.rfind(b"\r") + 1
        if self._head.startswith((b"\xff\xfe", b"\xfe\xff")):  # two bytes a character
            cut += cut % 2
        return self._head[:cut] if cut else self._head

    @property
    def source(self) -> SourceFile:
        """The record of the file; of the whole of it once every piece was taken."""
        return SourceFile(self.name, self._hash.hexdigest(), self._read)

    def pieces(self, encoding: str) -> Iterator[Piece]:
        """Yield the file as UTF-8 lines; ``encoding`` is the one it is in."""
        line, rest = 1, b""
        for raw in self._decoded(encoding):
            data = rest + raw if rest else raw
            cut = max(data.rfind(b"\n"), data.rfind(b"\r", 0, len(data) - 1)) + 1
            if cut:
                lines = as_lines(data[:cut])
                yield Piece(lines, line, self._share)
                line += int(np.count_nonzero(np.frombuffer(lines, np.uint8) == 10))  # bytes.count is slow here
            rest = data[cut:]
            if len(rest) > 4 * PIECE_BYTES:
                raise ReadingError(
                    "a line without an end", where=f"{self.name}:{line}", found=Said(f"{len(rest)} bytes"),
                    allowed=f"lines of up to {4 * PIECE_BYTES} bytes",
                    cure="check that this is a text file with one row of readings on each line",
                )  # fmt: skip
        if rest:
            lines = as_lines(rest)
            ended = lines.endswith(b"\n")
            yield Piece(lines if ended else lines + b"\n", line, 1.0, ended)

    @property
    def _share(self) -> float:
        return min(self._read / self._size, 1.0) if self._size else 1.0

    def _take(self, size_bytes: int) -> bytes:
        try:
            data = self._file.read(size_bytes)
        except OSError as error:
            raise ReadingError(
                "a file that cannot be read to its end", where=self.name,
                found=Said(error.strerror or type(error).__name__), allowed="a readable file", cure="copy it anew",
            ) from None  # fmt: skip
        self._hash.update(data)
        self._read += len(data)
        return data

    def _raw(self) -> Iterator[bytes]:
        if self._head:
            head, self._head = self._head, b""
            yield head
        while data := self._take(PIECE_BYTES):
            yield data

    def _decoded(self, encoding: str) -> Iterator[bytes]:
        """Yield the bytes as UTF-8 without a byte order mark."""
        name = codecs.lookup(encoding).name
        if name in ("utf-8", "utf-8-sig", "ascii"):
            for number, data in enumerate(self._raw()):
                yield data.removeprefix(codecs.BOM_UTF8) if number == 0 else data
            return
        decoder = codecs.getincrementaldecoder(name)()
        first = True
        for data in self._raw():
            yield self._decode(decoder, data, final=False).removeprefix("\ufeff" if first else "").encode()
            first = False
        yield self._decode(decoder, b"", final=True).encode()

    def _decode(self, decoder: codecs.IncrementalDecoder, data: bytes, *, final: bool) -> str:
        try:
            return decoder.decode(data, final)
        except UnicodeDecodeError as error:
            raise ReadingError(
                f"bytes that are not {error.encoding}", where=self.name,
                found=Said(f"byte 0x{error.object[error.start]:02x} before byte {self._read} of the file"),
                allowed="one encoding for the whole file", cure="state its encoding in a layout",
            ) from None  # fmt: skip
