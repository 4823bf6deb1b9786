"""Named causes, budgets, effective degrees of freedom and the limits of checks."""

import numpy as np
import pytest
from scipy import stats
from uncertainties import ufloat

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation import (
    SIGNIFICANCE,
    CommonError,
    effective_dof,
    largest_cause,
    new_cause,
    u_by_cause,
    variance_shares,
)
from aotf_lab.estimation.checks import chi2_check, chi2_limit, t_limit, z_check, z_limit


def test_common_error_cancels_where_it_should():
    gain = CommonError("meter gain", "drive_v", "relative", new_cause("meter gain", 0.01))
    low, high = gain.applied_to(2.0), gain.applied_to(6.0)
    assert (low.s, high.s) == pytest.approx((0.02, 0.06))
    assert (high / low).s == pytest.approx(0.0, abs=1e-12)
    offset = CommonError("meter offset", "drive_v", "offset", new_cause("meter offset", 0.01), sensitivity=2.0)
    assert (offset.applied_to(6.0) - offset.applied_to(2.0)).s == pytest.approx(0.0, abs=1e-15)
    assert offset.applied_to(6.0).s == pytest.approx(0.02)


def test_cause_of_size_zero_adds_nothing():
    none = CommonError("exact meter", "drive_v", "relative", new_cause("exact meter", 0.0))
    assert none.applied_to(3.0).n == 3.0
    assert none.applied_to(3.0).s == 0.0
    assert variance_shares(none.applied_to(ufloat(3.0, 0.1, tag="noise"))) == {"noise": 1.0, "exact meter": 0.0}


@pytest.mark.parametrize("u", [-0.1, np.nan, np.inf])
def test_cause_of_impossible_size_is_refused(u):
    with pytest.raises(AotfLabError, match=f"standard uncertainty of pad; found {u:g}; allowed: a finite number"):
        new_cause("pad", u)


def test_budget_groups_by_cause_largest_first():
    value = 3 * new_cause("gain", 1.0) + sum(ufloat(0, 1, tag="scatter") for _ in range(16)) + ufloat(0, 1)
    assert list(u_by_cause(value)) == ["scatter", "gain", "other"]
    assert list(u_by_cause(value).values()) == pytest.approx([4.0, 3.0, 1.0])
    assert sum(variance_shares(value).values()) == pytest.approx(1.0)
    assert largest_cause(value) == "scatter"
    assert largest_cause(0 * ufloat(1, 1)) == "none"


def test_effective_degrees_of_freedom():
    # JCGM 100:2008 G.4.1, the Welch-Satterthwaite formula, its example: equal parts of 4 and 4 dof give 8.
    value = ufloat(0, 1, tag="a") + ufloat(0, 1, tag="b")
    assert effective_dof(value, {"a": 4, "b": 4}) == pytest.approx(8.0)
    assert effective_dof(value, {"a": 4}) == pytest.approx(16.0)
    assert effective_dof(value, {}) == np.inf


@pytest.mark.parametrize("dof", [1, 2.5, 30])
def test_limits_are_quantiles(dof):
    # Reference: scipy.stats, in its own parametrisation.
    assert chi2_limit(dof) == pytest.approx(stats.chi2.isf(SIGNIFICANCE, dof))
    assert z_limit(7) == pytest.approx(stats.norm.isf(SIGNIFICANCE / 14))
    assert t_limit(dof, 7) == pytest.approx(stats.t.isf(SIGNIFICANCE / 14, dof))
    assert t_limit(0.0) == np.inf


def test_chi2_check_states_number_limit_and_cure():
    bad = chi2_check(90.0, 10, "the sweep")
    assert not bad.passed
    assert "chi2 = 90.0 on 10 degrees of freedom for the sweep, limit 27.7" in bad.detail
    assert "scatter 3.00 times more" in bad.detail
    assert str(bad).startswith("FAILED scatter: ")
    assert chi2_check(0.0, 0.2, "two lines").detail.startswith("no degrees of freedom left")


def test_z_check_states_number_limit_and_cure():
    bad = z_check("drift", 0.12, 0.02, "the drift", "MHz", "let it warm up")
    assert not bad.passed
    assert bad.detail == "the drift is 0.12 +- 0.02 MHz, 6.0 standard uncertainties; limit 3.1; let it warm up"
    assert z_check("drift", 0.02, 0.02, "the drift", "MHz", "let it warm up").passed


@pytest.mark.parametrize("u", [0.0, 0])
def test_z_check_of_a_value_without_any_u_passes_at_zero_alone(u):
    """A distribution without width holds one value: any other contradicts it."""
    bad = z_check("drift", 0.12, u, "the drift", "MHz", "let it warm up")
    assert not bad.passed
    assert bad.of_limit is None
    said = "the drift is 0.12 MHz and has no uncertainty, so that only zero is allowed; let it warm up"
    assert bad.detail == said
    assert z_check("drift", 0.0, u, "the drift", "MHz", "let it warm up").passed


@pytest.mark.parametrize(
    ("value", "u"), [(np.nan, 0.02), (0.0, np.nan), (np.nan, 0.0), (0.12, -0.02), (np.nan, np.inf)]
)
def test_z_check_refuses_in_words_what_is_no_number(value, u):
    bad = z_check("drift", value, u, "the drift", "MHz", "let it warm up")
    assert not bad.passed
    assert bad.of_limit is None
    assert bad.detail.startswith(f"the drift cannot be judged: {value:.3g} +- {u:.2g} MHz is no number with a standard")
    assert bad.detail.endswith("; let it warm up")
