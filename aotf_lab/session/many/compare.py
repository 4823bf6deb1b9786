"""Compare many sessions, on all cores or on whatever joblib is told to use."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sized
from concurrent.futures import BrokenExecutor
from dataclasses import replace
from typing import TypeAlias

import joblib
from joblib.parallel import get_active_backend

from aotf_lab.errors import AotfLabError
from aotf_lab.given import given_list, given_number, given_several
from aotf_lab.session.many.comparison import Comparison
from aotf_lab.session.many.named import NamedFolders
from aotf_lab.session.many.progress import session_progress
from aotf_lab.session.many.row import SessionRow, session_row

__all__ = ["Folders", "compare", "session_rows"]

Folders: TypeAlias = Iterable[str | os.PathLike[str]]

_DIED = "a worker process died before it answered, perhaps for want of memory: try this session alone"


def compare(
    folders: Folders, *, jobs: int | None = None, parts: Iterable[str] | None = None, progress: bool = True
) -> Comparison:
    """Return the results of the sessions in ``folders`` side by side, the one that stands apart most first.

    ``folders`` may be a generator; of each session only its numbers are kept. ``jobs`` is the number of processes,
    all cores by default. ``parts`` limits the work to parts of a session, such as "scans" and "set_points". A session
    that fails is a row with its reason, and so is a folder that is named again. ``progress`` shows on a terminal how
    many are done.

    Any backend of joblib serves, such as a Dask cluster whose workers have this library and see the folders::

        with joblib.parallel_config(backend="dask"):
            found = aotf_lab.compare(folders)

    Raises ``AotfLabError`` for no folder at all, for one that is in no list, and for no process.
    """
    given_list(folders, "folders", "session folders in a list", "put it into a list: compare([folder])")
    if jobs is not None:
        jobs = given_number(jobs, "jobs", "processes", at_least=1, whole=True)
    show = session_progress(len(folders) if isinstance(folders, Sized) else None)
    rows: dict[int, SessionRow] = {}
    titles: dict[tuple[str, ...], tuple[str, ...]] = {}
    for position, row in session_rows(folders, jobs=jobs, parts=parts):
        rows[position] = replace(row, titles=titles.setdefault(row.titles, row.titles))
        if progress:
            show(len(rows))
    if progress:
        show(-1)
    if not rows:
        raise AotfLabError("nothing to compare", found=0, allowed="one folder or more", cure="name session folders")
    return Comparison(tuple(rows[position] for position in sorted(rows)))


def session_rows(
    folders: Folders, *, jobs: int | None = None, parts: Iterable[str] | None = None
) -> Iterator[tuple[int, SessionRow]]:
    """Yield position and row of each session as soon as it is done, in whatever order that is.

    Folders are taken from a generator when a worker is about to be free. What stands open when a worker process dies
    becomes a row with that reason.
    """
    waiting = enumerate(folders)
    if parts is not None:
        parts = given_several(parts, "parts", "names of parts", "name one")
    at_work: dict[int, str] = {}
    refused: dict[int, SessionRow] = {}

    def tasks() -> Iterator[object]:
        named = NamedFolders()
        for position, folder in waiting:
            place, reason = named.new(folder)
            if reason:
                refused[position] = SessionRow(place, reason=reason)
                continue
            at_work[position] = place
            yield joblib.delayed(_numbered)(position, place, parts)

    try:
        for position, row in _parallel(jobs)(tasks()):
            del at_work[position]
            yield position, row
    except BrokenExecutor:
        for position, folder in (*at_work.items(), *waiting):
            yield position, SessionRow(str(folder), reason=_DIED)
    yield from refused.items()


def _parallel(jobs: int | None) -> joblib.Parallel:
    """Return the workers: joblib's active backend, each process with one thread of linear algebra."""
    backend, stated = get_active_backend()
    if backend.supports_inner_max_num_threads and backend.inner_max_num_threads is None:
        backend.inner_max_num_threads = 1
    unordered = "generator_unordered" if backend.supports_return_generator else "list"
    number = jobs if jobs is not None else stated if stated is not None else -1
    return joblib.Parallel(n_jobs=number, backend=backend, return_as=unordered)


def _numbered(position: int, folder: str, parts: tuple[str, ...] | None) -> tuple[int, SessionRow]:
    return position, session_row(folder, parts)
