"""Imports point down: the plan of ``house.py`` holds for every file, lazy imports included."""

from __future__ import annotations

from graphlib import TopologicalSorter

from tests.house import FLOORS, PACKAGE, SOLE_IMPORTERS, imports, modules


def room_of(module: str) -> str | None:
    parts = module.split(".")
    return parts[1] if parts[0] == "aotf_lab" and len(parts) > 1 else None


def test_every_file_belongs_to_a_room():
    strays = [str(p) for p, room in modules() if room not in FLOORS and room != "__init__"]
    assert strays == []


def test_imports_point_down():
    upward = []
    for path, room in modules():
        if room == "__init__":
            continue
        for module, line in imports(path):
            target = room_of(module)
            if target is not None and target != room and FLOORS[target] >= FLOORS[room]:
                upward.append(f"{path}:{line}: {room} imports {target}")
    assert upward == []


def test_no_circle_of_files():
    graph = {}
    for path, _ in modules():
        name = ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts).removesuffix(".__init__")
        graph[name] = {m for m, _ in imports(path) if m.startswith("aotf_lab.")}
    assert list(TopologicalSorter(graph).static_order())


def test_heavy_libraries_have_one_importer():
    wrong = []
    for path, room in modules():
        for module, line in imports(path):
            sole = SOLE_IMPORTERS.get(module.split(".")[0])
            if sole is not None and room != sole:
                wrong.append(f"{path}:{line}: {module} belongs to {sole}")
    assert wrong == []
