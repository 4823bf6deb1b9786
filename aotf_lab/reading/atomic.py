"""Write a file whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

__all__ = ["write_bytes_atomically", "write_new_text", "write_text_atomically"]


def write_text_atomically(path: str | os.PathLike[str], text: str) -> None:
    """Write ``text`` (UTF-8, line ends as given) to ``path`` as ``write_bytes_atomically`` does."""
    write_bytes_atomically(path, text.encode("utf-8"))


def write_bytes_atomically(path: str | os.PathLike[str], content: bytes) -> None:
    """Write ``content`` to ``path``, replacing what stood there.

    It goes to a temporary file in the same folder, reaches the disk, and then takes the
    name in one step: a reader sees the old file or the new one, never half of one. Raises
    ``OSError`` as the file system does, leaving the old file as it was.
    """
    target = Path(path)
    with _on_disk(target, content) as part:
        os.chmod(part, target.stat().st_mode & 0o777 if target.exists() else 0o644)
        os.replace(part, target)


def write_new_text(paths: Iterator[Path], text: str) -> Path:
    """Write ``text`` (UTF-8) to the first of ``paths``, which do not end, that nothing stands at; return that path.

    All are in one folder. Nothing is ever replaced: of two writers at once, each gets a path of its own. A path at
    which this text stands already is returned as it is. Raises ``OSError`` as the file system does.
    """
    target = next(paths)
    content = text.encode("utf-8")
    with _on_disk(target, content) as part:
        os.chmod(part, 0o644)
        while not (_took_name(part, target) or target.read_bytes() == content):
            target = next(paths)
    return target


@contextmanager
def _on_disk(target: Path, content: bytes) -> Iterator[Path]:
    """Give a temporary file with ``content`` beside ``target``, which is gone afterwards."""
    handle, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent)
    try:
        with open(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        yield Path(name)
    finally:
        Path(name).unlink(missing_ok=True)


def _took_name(part: Path, target: Path) -> bool:
    """Give ``part`` the name ``target`` in one step; False when that name is taken."""
    try:
        os.link(part, target)
    except FileExistsError:
        return False
    except OSError:  # no second names on this file system: claim the name with an empty file, and replace that
        try:
            os.close(os.open(target, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o644))
        except FileExistsError:
            return False
        os.replace(part, target)
    return True
