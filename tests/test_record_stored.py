"""Numbers kept with what they share: the correlation is the one that outside sources give."""

from __future__ import annotations

import gc
from itertools import pairwise

import numpy as np
import pytest
from uncertainties import covariance_matrix, ufloat

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation import new_cause, variance_shares
from aotf_lab.reading.instruments import Counter, Instruments
from aotf_lab.record import CauseBook, StoredNumbers, stored_numbers
from aotf_lab.record.stored import COMMON_CAUSES, common_keys


def test_ten_resistors_against_one_standard() -> None:
    """GUM (JCGM 100:2008) 5.2.2, example: u of the sum is 10 x 100 mohm = 1 ohm, and 0.32 ohm if wrongly taken as
    independent (from memory)."""
    standard = new_cause("standard resistor", 0.1)
    kept = [
        stored_numbers({"resistance": 1000.0 + standard}, common={"standard resistor": "standard resistor@S"})
        for _ in range(10)
    ]
    book = CauseBook()
    assert sum(k.number("resistance", book) for k in kept).s == pytest.approx(1.0, rel=1e-12)
    assert sum(k.number("resistance", CauseBook()) for k in kept).s == pytest.approx(0.3162, rel=1e-3)


def test_covariance_is_that_of_the_uncertainties_library() -> None:
    base, own = ufloat(0.0, 15e-6, tag="counter time base"), [ufloat(60.0 + k, 0.003 * (k + 1)) for k in range(4)]
    other = ufloat(0.0, 0.002, tag="form of the curve")
    numbers = {f"number {k}": f * (1 + base) + (k - 1) * other for k, f in enumerate(own)}
    kept = stored_numbers(numbers)
    assert tuple(kept.causes) == ("counter time base",)
    expected = np.array(covariance_matrix(list(numbers.values())))
    assert kept.covariance() == pytest.approx(expected, rel=1e-12)
    variables = kept.variables(CauseBook())
    assert np.array(covariance_matrix(list(variables))) == pytest.approx(expected, rel=1e-7)
    for first, second in pairwise(range(4)):
        here, there = (
            list(numbers.values())[second] - list(numbers.values())[first],
            variables[second] - variables[first],
        )
        assert there.s == pytest.approx(here.s, rel=1e-7)


def test_a_cause_keeps_its_sign() -> None:
    base = ufloat(0.0, 1e-5, tag="counter time base")
    kept = stored_numbers({"rises": 60.0 * (1 + base), "falls": 60.0 * (1 - base)})
    assert kept.causes["counter time base"] == pytest.approx([6e-4, -6e-4])
    assert (kept.number("rises") + kept.number("falls")).s == pytest.approx(0.0, abs=1e-12)


def test_one_book_gives_one_variable_per_key() -> None:
    book = CauseBook()
    assert book.variable("pad") is book.variable("pad")
    assert book.variable("pad").tag == "pad"
    kept = stored_numbers({"level": 1.0 + 0.02 * ufloat(0.0, 1.0, tag="pad")})
    assert kept.number("level", book).derivatives[book.variable("pad")] == pytest.approx(0.02)


def test_asked_twice_the_rest_is_the_same() -> None:
    kept = stored_numbers({"a": ufloat(1.0, 0.1), "b": ufloat(2.0, 0.1)})
    book = CauseBook()
    assert (kept.number("a", book) - kept.number("a", book)).s == 0.0
    assert (kept.number("a", book) - kept.number("a", CauseBook())).s == pytest.approx(0.1 * 2**0.5)


def test_a_tag_that_two_variables_carry_is_no_one_cause() -> None:
    first, second = ufloat(0.0, 1e-5, tag="counter time base"), ufloat(0.0, 1e-5, tag="counter time base")
    kept = stored_numbers({"a": 60.0 * (1 + first), "b": 60.0 * (1 + second)})
    assert not kept.causes
    assert kept.covariance() == pytest.approx(np.diag([3.6e-7, 3.6e-7]))


def test_exact_numbers_and_a_budget_by_name() -> None:
    kept = stored_numbers({"a": 3.0, "b": 5.0 + ufloat(0.0, 0.3, tag="x")}, rest_name="scatter of the scans")
    assert kept.number("a").s == 0.0
    assert variance_shares(kept.number("b")) == {"scatter of the scans": pytest.approx(1.0)}


def test_every_shared_cause_of_the_instruments_is_common() -> None:
    assert set(Instruments(Counter(time_base_ppm=2)).causes) <= COMMON_CAUSES
    assert common_keys({"scope": "B"})["scope gain"] == "scope gain@B"
    assert common_keys({"scope": "B"})["counter time base"] == "counter time base"


def test_a_book_does_not_keep_numbers_alive() -> None:
    book = CauseBook()
    kept = stored_numbers({"a": ufloat(1.0, 0.1)})
    kept.number("a", book)
    assert len(book._numbers) == 1
    del kept
    gc.collect()
    assert len(book._numbers) == 0


def test_a_name_that_is_none() -> None:
    kept = StoredNumbers(("a",), np.ones(1), {}, np.ones((1, 1)))
    with pytest.raises(AotfLabError, match=r"no such number in this calibration; found 'b'; allowed: a; use a listed"):
        kept.number("b")
