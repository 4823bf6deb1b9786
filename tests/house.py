"""The plan of the house: which room stands on which floor, and who alone may import what."""

from __future__ import annotations

import ast
import csv
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "aotf_lab"
SHARED = ROOT / "shared"

FLOORS: dict[str, int] = {
    "errors": 0,
    "given": 1,
    "quantities": 1,
    "data": 2,
    "physics": 3,
    "estimation": 4,
    "drawing": 4,
    "reading": 5,
    "driver": 6,
    "crystal": 6,
    "timing": 6,
    "planning": 7,
    "record": 8,
    "session": 9,
    "simulate": 10,
    "report": 11,
    "widgets": 11,
    "commands": 12,
    "__main__": 13,
}
"""A room imports rooms of lower floors and itself; never sideways, never up."""

SOLE_IMPORTERS = {
    "lmfit": "estimation",
    "matplotlib": "drawing",
    "jinja2": "report",
    "weasyprint": "report",
    "ipywidgets": "widgets",
}


def published(name: str) -> list[dict[str, str]]:
    """Return the rows of a table of published values in ``shared``."""
    with (SHARED / name).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def modules() -> Iterator[tuple[Path, str]]:
    """Yield each file of the package with the room that it belongs to."""
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        yield path, parts[0]


def imports(path: Path) -> Iterator[tuple[str, int]]:
    """Yield every module that ``path`` imports, at whatever depth it stands in the code, with its line."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, node.lineno
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: write the whole path of an import"
            assert node.module is not None
            yield node.module, node.lineno
            for alias in node.names:
                if (PACKAGE.parent / node.module.replace(".", "/") / f"{alias.name}.py").exists():
                    yield f"{node.module}.{alias.name}", node.lineno
