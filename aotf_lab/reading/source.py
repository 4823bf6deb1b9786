"""Where a number came from: the raw file and its hash."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

__all__ = ["SourceFile", "source_file"]


@dataclass(frozen=True)
class SourceFile:
    """A raw file as it was read: its name, SHA-256 (hex) and size in bytes."""

    name: str
    sha256: str
    size_bytes: int


def source_file(path: Path, content: bytes) -> SourceFile:
    """Return the record of ``path`` whose bytes are ``content``."""
    return SourceFile(path.name, hashlib.sha256(content).hexdigest(), len(content))
