"""Write a file whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

__all__ = ["write_text_atomically"]


def write_text_atomically(path: str | os.PathLike[str], text: str) -> None:
    """Write ``text`` (UTF-8, line ends as given) to ``path``, replacing what stood there.

    The text goes to a temporary file in the same folder, reaches the disk, and then takes the
    name in one step: a reader sees the old file or the new one, never half of one. Raises
    ``OSError`` as the file system does, leaving the old file as it was.
    """
    target = Path(path)
    handle, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent)
    try:
        with open(handle, "w", encoding="utf-8", newline="") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(name, target.stat().st_mode & 0o777 if target.exists() else 0o644)
        os.replace(name, target)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
