"""Public names: what ``__all__`` says, what the stub says and what loads are the same."""

from __future__ import annotations

import ast
import importlib
import inspect
import subprocess
import sys

import aotf_lab
from tests.house import FLOORS, PACKAGE


def test_stub_and_package_offer_the_same_names():
    tree = ast.parse((PACKAGE / "__init__.pyi").read_text(encoding="utf-8"))
    homes = {a.asname: n.module for n in tree.body if isinstance(n, ast.ImportFrom) for a in n.names}
    assert homes == aotf_lab._HOME_OF
    assert sorted(homes) == aotf_lab.__all__


def test_every_public_name_loads_and_is_documented():
    for name in aotf_lab.__all__:
        value = getattr(aotf_lab, name)
        assert inspect.getdoc(value), name


def test_every_room_exports_what_it_lists():
    for room in FLOORS:
        module = importlib.import_module(f"aotf_lab.{room}")
        assert module.__doc__, room
        for name in getattr(module, "__all__", ()):
            assert hasattr(module, name), f"{room}.{name}"


def test_unknown_name_is_an_attribute_error():
    assert not hasattr(aotf_lab, "no_such_name")


def test_import_loads_nothing_heavy():
    code = "import sys, aotf_lab; print(sorted({'numpy', 'pandas', 'lmfit', 'matplotlib', 'scipy'} & set(sys.modules)))"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"
