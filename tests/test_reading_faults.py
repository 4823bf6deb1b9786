"""Damaged raw files: the right numbers, rows flagged or rejected, or an error that names file and line; nothing else.

``python -m tests.benchmarks.reading_faults`` runs more than 20,000 such cases; here a few hundred, and
each case that ever failed (``reading_faults_seeds.toml``).
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from aotf_lab.errors import ReadingError
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.receipt import FlaggedRow, Receipt, RejectedRow
from tests.reading_faults import KINDS, LOCALES, damaged, random_case
from tests.reading_faults_bases import BASES, EXPONENTS
from tests.reading_faults_oracle import FILE, judged, lines_said

EVER_FAILED = tomllib.loads(Path(__file__).with_name("reading_faults_seeds.toml").read_text(encoding="utf-8"))["case"]
BLOCKS = 12
PER_BLOCK = 30


@pytest.mark.parametrize("block", range(BLOCKS))
def test_damage_never_gives_other_numbers(block, tmp_path):
    for seed in range(block * PER_BLOCK, (block + 1) * PER_BLOCK):
        case = random_case(seed)
        outcome = judged(case, tmp_path)
        assert not outcome.wrong, f"seed {seed}, base {case.base.name}, steps {list(case.steps)}: {outcome.wrong}"


@pytest.mark.parametrize("case", EVER_FAILED, ids=lambda c: f"{c['base']}: {'; '.join(c['steps'])}")
def test_what_ever_failed(case, tmp_path):
    assert judged(damaged(case["base"], case["steps"]), tmp_path).wrong == ""


@pytest.mark.parametrize("name", BASES)
def test_good_files_are_read_whole(name, tmp_path):
    case = damaged(name, [])
    outcome = judged(case, tmp_path)
    assert (outcome.kind, outcome.wrong) == ("numbers", "")


@pytest.mark.parametrize("locale", ["", *LOCALES])
@pytest.mark.parametrize("name", BASES)
def test_the_judge_reads_good_files_rightly(name, locale):
    case = damaged(name, [f"locale {locale}"] if locale and locale != "comma_comma" else [])
    width = len(case.base.readings)
    first = [said.readings[:width] for said in lines_said(case)[0].values()]
    rows = [options for options in first if options and all(all(option.values()) for option in options)]
    assert len(rows) == len(case.base.rows)
    for row, cells in zip(rows, case.base.rows, strict=True):
        for option, group in zip(row, case.base.readings, strict=True):
            for meaning, at in group.items():
                if isinstance(at, int) and case.base.columns[at].unit not in ("", "counts") and cells[at]:
                    wanted = float(cells[at]) * 10.0 ** EXPONENTS[case.base.columns[at].unit][1]
                    assert option[meaning] == pytest.approx([wanted] * len(option[meaning]))


def reader(table, rejected=(), flagged=()):
    receipt = Receipt(FILE, len(table), (), tuple(RejectedRow(n, "", "x") for n in rejected), (),
                      tuple(FlaggedRow(n, "", "x") for n in flagged))  # fmt: skip
    return lambda path: Readings(pd.DataFrame(table), (), (receipt,))


def raising(error):
    def read(path):
        raise error

    return read


GOOD = {"drive_v": [float(r[0]) for r in BASES["decimal_comma"].rows],
        "frequency_mhz": [float(r[1]) for r in BASES["decimal_comma"].rows], "line": list(range(2, 12))}  # fmt: skip
OTHER = {**GOOD, "frequency_mhz": [*GOOD["frequency_mhz"][:-1], 86.4128]}
SHORT = {k: v[:-1] for k, v in GOOD.items()}
GAP = {**GOOD, "drive_v": [math.nan, *GOOD["drive_v"][1:]]}
NAMED = ReadingError("x", where=f"{FILE}:7", found=1, allowed="y", cure="z")
UNNAMED = ReadingError("x", where=FILE, found=1, allowed="y", cure="z")


@pytest.mark.parametrize(
    ("read", "wrong"),
    [
        (reader(GOOD), ""), (reader(OTHER), "line 11: read"), (reader(OTHER, flagged=[11]), ""),
        (reader(GAP), "line 2: read"),
        (reader(SHORT), "line 11: lost without a word"), (reader(SHORT, rejected=[11]), ""),
        (raising(NAMED), ""), (raising(UNNAMED), "error names no line"), (raising(KeyError("x")), "KeyError"),
    ],
)  # fmt: skip
def test_the_judge_condemns_what_is_wrong(read, wrong, tmp_path):
    case = damaged("decimal_comma", [])
    outcome = judged(replace(case, base=replace(case.base, reader=read)), tmp_path)
    assert outcome.wrong.startswith(wrong)
    assert bool(outcome.wrong) == bool(wrong)


def test_the_judge_wants_the_last_line_ended(tmp_path):
    case = damaged("decimal_comma", [f"truncate {len(damaged('decimal_comma', []).content) - 2}"])
    outcome = judged(replace(case, base=replace(case.base, reader=reader(GOOD))), tmp_path)
    assert outcome.wrong == "line 11: the last, has no end, and is not flagged"


def test_every_kind_of_damage_is_drawn():
    drawn = {kind for seed in range(400) for kind in random_case(seed).kinds}
    assert drawn == set(KINDS)


def test_steps_make_the_same_case_again():
    for seed in range(50):
        case = random_case(seed)
        assert damaged(case.base.name, case.steps).content == case.content
