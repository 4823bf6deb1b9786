"""Every notebook starts from raw files, ends with what to do next, and quotes no number that nbval does not compare."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from tests.house import PACKAGE, ROOT
from tests.notebook_prose import CODE, is_compared, load, markdown, printed, quoted, source, unsupported

NOTEBOOKS = {path.stem: load(path) for path in sorted((ROOT / "notebooks").glob("*.ipynb"))}
FACTS = tomllib.loads((Path(__file__).parent / "notebook_facts.toml").read_text(encoding="utf-8"))
PROSE = {name: markdown(cells) for name, cells in NOTEBOOKS.items()} | {
    "README": (ROOT / "README.md").read_text("utf-8")
}
WORDS = {path.name for path in (ROOT / "data" / "demo").iterdir()} | set(
    re.findall(
        r"\w+", "".join(p.read_text("utf-8") for p in [*PACKAGE.rglob("*.py"), *(ROOT / "data").rglob("*.toml")])
    )
)
COMMANDS = set(
    re.findall(
        r"""add_command\(\s*commands,\s*["'](\w+)""", "".join(p.read_text("utf-8") for p in PACKAGE.rglob("*.py"))
    )
)

each_notebook = pytest.mark.parametrize("name", NOTEBOOKS)
each_text = pytest.mark.parametrize("name", PROSE)


@each_notebook
def test_every_quoted_number_is_compared_or_a_stated_fact(name):
    assert unsupported(NOTEBOOKS[name], {*FACTS["everywhere"], *FACTS.get(name, {})}) == []


def test_a_stated_fact_is_quoted_and_not_printed():
    needed = {name: set(unsupported(cells)) for name, cells in NOTEBOOKS.items()}
    needed["everywhere"] = set().union(*needed.values())
    assert [(name, fact) for name, facts in FACTS.items() for fact in facts.keys() - needed[name]] == []


@each_notebook
def test_what_a_cell_prints_is_compared(name):
    """Left alone are figures, and what a person looks at as a page: widgets and tables in HTML."""
    shown = {"image/png", "text/html", "application/vnd.jupyter.widget-view+json"}
    loose = [c for c in NOTEBOOKS[name] if c["cell_type"] == "code" and not is_compared(c)]
    assert [source(c) for c in loose for o in c["outputs"] if not shown & o.get("data", {}).keys()] == []


@each_notebook
def test_a_compared_cell_prints_and_draws_nothing(name):
    """The checks run without a display of figures: one in a compared cell would be missed there."""
    compared = [c for c in NOTEBOOKS[name] if is_compared(c)]
    drawn = [c for c in compared if any("image/png" in o.get("data", {}) for o in c["outputs"])]
    assert [source(c) for c in compared if c in drawn or not printed(c).strip()] == []


@each_notebook
def test_it_ends_with_what_to_do_next(name):
    last = markdown(NOTEBOOKS[name][-1:])
    assert re.search(r"^## What to do next$.*^(- |\d\. )", last, re.DOTALL | re.MULTILINE)


@each_notebook
def test_it_starts_from_raw_files(name):
    code = "".join(source(c) for c in NOTEBOOKS[name] if c["cell_type"] == "code")
    assert re.search(r"""["']\.\./(data/demo|tests/benchmarks/results)\b""", code)


@each_notebook
def test_it_was_run_from_top_to_bottom_without_an_error(name):
    code = [c for c in NOTEBOOKS[name] if c["cell_type"] == "code"]
    assert [c["execution_count"] for c in code] == list(range(1, len(code) + 1))
    assert [o for c in code for o in c["outputs"] if o["output_type"] == "error" or o.get("name") == "stderr"] == []


@each_text
def test_notebooks_that_it_sends_to_exist(name):
    named = re.findall(r"\b\d\d_[a-z_]+", PROSE[name])
    numbered = re.findall(
        r"\d\d", " ".join(re.findall(r"[Nn]otebooks? \W*\d\d(?:(?:, | and | to )\W*\d\d)*", PROSE[name]))
    )
    assert set(named) - NOTEBOOKS.keys() == set()
    assert set(numbered) - {stem[:2] for stem in NOTEBOOKS} == set()


@each_text
def test_names_in_its_code_exist(name):
    code = " ".join(CODE.findall(PROSE[name]))
    called = re.findall(r"[A-Za-z_]\w*(?=\()", code) + re.findall(r"\b[a-z]+_\w+\b", code)
    assert {word for word in called if not word.endswith("_")} - WORDS - NOTEBOOKS.keys() == set()
    assert set(re.findall(r"aotf-lab ([a-z]+)", code)) - COMMANDS == set()
    paths = re.findall(r"\b(?:tests|notebooks|data|shared)/[\w./]+", code)
    paths += [m.replace(".", "/") + ".py" for m in re.findall(r"tests\.benchmarks\.[a-z]\w+", code)]
    assert [path for path in paths if not (ROOT / path).exists()] == []


@pytest.mark.parametrize(
    ("prose", "numbers"),
    [
        ("from 12 to 23 % and 20-80 %", ["12 %", "23 %", "20 %", "80 %"]),
        ("±0.3 MHz, 2.5 ± 0.2 µs, 64.2285(23) MHz", ["0.3 MHz", "2.5 us", "0.2 us", "64.2285 MHz", "23"]),
        ("1,000 benches; 12,500 Hz; **15** °C; 1 kΩ", ["12,500 Hz", "15 degC", "1 kohm", "1,000"]),
        ("$4.1\\,\\mathrm{kHz}$, $f = 0.75 v$, 3 × 10⁻³ V, $10^{-4}$ %", ["4.1 kHz", "3e-3 V", "1e-4 %"]),
        ("| E | 0.31 % |\n- 2.15 times, 65.9 kHz/K\n- −3 dB", ["0.31 %", "65.9 kHz/K", "3 dB", "2.15"]),
        ("`64.2285(23)` in `fit_vco(5.5)`", ["64.2285", "23"]),
        ("# 09 Fast\n## 2. Two\nJCGM 100:2008, York et al. 2004, Proc. IEEE 69, 54 (1981); 1/e²; notebook 12", []),
    ],
)
def test_numbers_are_found_in_prose(prose, numbers):
    assert [f"{n} {unit}".strip() for n, unit in quoted([{"cell_type": "markdown", "source": [prose]}])] == numbers


@pytest.mark.parametrize(
    ("code", "output", "missing"),
    [
        ("# NBVAL_CHECK_OUTPUT\nprint(f)", "64.234 MHz, 17.3 %", []),
        ("# NBVAL_CHECK_OUTPUT\nprint(f)", "64.264 MHz, 17.3 %", ["64.2 MHz"]),
        ("# NBVAL_CHECK_OUTPUT\nprint(f)", "17.3 MHz, 64.2 %", ["64.2 MHz", "17.3 %"]),
        ("# NBVAL_CHECK_OUTPUT\nprint(f)", "line  f_mhz  lost_percent\nE  64.2  17.3", []),
        ("print(f)", "64.234 MHz, 17.3 %", ["64.2 MHz", "17.3 %"]),
        ("f_mhz = 64.2\nlost = 17.3", "", ["17.3 %"]),
        ("rate_mhz_per_us = 64.2\nlost_percent = 17.3", "", ["64.2 MHz"]),
        ("f_mhz = f()  # 64.2 MHz, 17.3 %", "", ["64.2 MHz", "17.3 %"]),
    ],
)
def test_a_number_stands_only_where_its_unit_is_typed_or_compared(code, output, missing):
    prose = {"cell_type": "markdown", "source": ["It peaks at 64.2 MHz and loses 17.3 %."]}
    assert unsupported([prose, {"cell_type": "code", "source": [code], "outputs": [{"text": [output]}]}]) == missing
    assert unsupported([prose, {"cell_type": "code", "source": [code], "outputs": []}], {"64.2 MHz", "17.3 %"}) == []
