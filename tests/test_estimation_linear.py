"""Many numbers at once, against the arithmetic of the ``uncertainties`` library, one by one."""

from __future__ import annotations

import tomllib
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pytest
from packaging.requirements import Requirement
from uncertainties import UFloat, correlation_matrix, covariance_matrix, ufloat, umath
from uncertainties.core import LinearCombination

from aotf_lab.crystal.tuning.common import indicated_value, true_value
from aotf_lab.estimation import CommonError, new_cause
from aotf_lab.estimation.linear import linear, nominals

GAIN, ZERO = ufloat(1.02, 0.01, tag="gain"), ufloat(0.3, 0.05, tag="zero")
READ = [ufloat(v, 0.02, tag="scatter") for v in (1.0, 2.0, 4.0)]


def test_numbers_are_those_of_row_by_row_arithmetic_with_every_correlation():
    one_by_one = [umath.sqrt(r) * GAIN - ZERO for r in READ]
    root = np.sqrt(nominals(READ))
    found = linear(root * 1.02 - 0.3, (0.5 / root * 1.02, READ), (root, GAIN), (-1.0, ZERO))
    assert nominals(found) == pytest.approx(nominals(one_by_one), rel=1e-14)
    both = np.array(covariance_matrix([*found, *one_by_one, GAIN, ZERO, *READ]))
    assert both[:3] == pytest.approx(both[3:6], rel=1e-12, abs=1e-18)
    assert 0.5 < np.array(correlation_matrix(found))[0, 2] < 0.99  # neither apart nor one


def test_numbers_made_of_numbers_still_refer_to_the_same_causes():
    first = linear(np.array([1.0, 2.0]), (1.0, GAIN), (1.0, READ[:2]))
    second = linear(np.array([2.0, 4.0]), ([2.0, 2.0], first))
    assert [(b - 2 * a).s for a, b in zip(first, second, strict=True)] == pytest.approx([0.0, 0.0], abs=1e-12)
    assert {v.tag for v in second[0].error_components()} == {"gain", "scatter"}


def test_plain_numbers_stay_plain_and_exact_ones_add_nothing():
    found = linear(np.array([1.0, 2.0]), (1.0, 5.0), (1.0, [3.0, READ[0]]))
    assert type(found[0]) is float
    assert isinstance(found[1], UFloat)
    assert found[1].s == pytest.approx(0.02)


@pytest.mark.parametrize("form", [list, tuple, iter, lambda n: (x for x in n), lambda n: np.array(n, dtype=object)])
def test_numbers_in_any_form_keep_their_uncertainty(form):
    found = linear(nominals(READ), (1.0, form(READ)))
    assert [(a - b).s for a, b in zip(found, READ, strict=True)] == pytest.approx([0.0] * 3, abs=1e-15)
    assert found[0].s == pytest.approx(0.02)


def test_one_number_in_an_array_without_axes_is_one_for_all():
    found = linear(np.array([1.0, 2.0]), (1.0, np.array(GAIN, dtype=object)))
    assert (found[0] - found[1]).s == 0.0
    assert found[0].s == pytest.approx(0.01)
    assert type(linear(np.array([1.0]), (1.0, np.array(5.0)))[0]) is float


def test_numbers_of_another_length_are_refused():
    with pytest.raises(ValueError, match="zip"):
        linear(nominals(READ), (1.0, iter(READ[:2])))


def test_no_release_of_uncertainties_is_taken_that_may_lack_the_name_relied_on():
    """What ``linear`` takes from inside that library: there in the release at hand, and none beyond 3.2 is allowed."""
    project = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    (wanted,) = (w for w in map(Requirement, project["dependencies"]) if w.name == "uncertainties")
    assert version("uncertainties") in wanted.specifier
    assert "3.2" in wanted.specifier
    assert list(wanted.specifier.filter(["3.3", "3.3.1", "4.0"])) == []
    product = READ[0] * GAIN
    part = product._linear_part
    assert isinstance(part, LinearCombination)
    assert not part.expanded()
    assert product.derivatives == {READ[0]: GAIN.n, GAIN: READ[0].n}


@pytest.mark.parametrize("kind", ["relative", "offset"])
def test_a_common_error_of_many_is_that_of_each_and_comes_off_again(kind):
    error = CommonError("scale", "x", kind, new_cause("scale", 0.01), 2.0)
    true = true_value([error], READ)
    each = [error.applied_to(r) for r in READ]
    assert [(a - b).s for a, b in zip(true, each, strict=True)] == pytest.approx([0.0] * 3, abs=1e-12)
    assert nominals(true) == pytest.approx(nominals(each), rel=1e-14)
    assert true[0].s > 1.2 * READ[0].s  # the error is in it
    back = indicated_value([error], true)
    assert [(a - b).s for a, b in zip(back, READ, strict=True)] == pytest.approx([0.0] * 3, abs=1e-12)
