"""The search over assignments against brute force: every assignment, by its own least squares and its own density."""

from __future__ import annotations

from itertools import combinations, permutations, product
from math import comb, factorial

import numpy as np
import pytest
from scipy.stats import multivariate_normal
from uncertainties import ufloat

from aotf_lab.crystal.identity.candidates import candidates
from aotf_lab.crystal.identity.exchanged import exchanged_labels
from aotf_lab.crystal.identity.law import log_law
from aotf_lab.crystal.identity.peaks import as_peaks
from aotf_lab.crystal.identity.search import NONE, search
from aotf_lab.data import CatalogueLine
from tests.crystal_tuning_lines import true_mhz

NM = np.array([449.73, 473.19, 518.04, 556.42, 589.12, 637.58, 671.29])
U_NM = np.array([3.0, 0.08, 4.0, 0.1, 0.1, 3.0, 0.1])


def lines_of(nm=NM, u_nm=U_NM):
    return [
        CatalogueLine(f"L{k}", float(w), float(u), "test", "test")
        for k, (w, u) in enumerate(zip(nm, u_nm, strict=True))
    ]


def peaks_of(nm, u_mhz=0.006, seed=None):
    f = true_mhz(np.asarray(nm))
    if seed is not None:
        f = f + u_mhz * np.random.default_rng(seed).standard_normal(len(f))
    return {f"p{k}": ufloat(x, u_mhz) for k, x in enumerate(f)}


def setting(rows, scale=None, u_nm=U_NM, seed=1):
    peaks = as_peaks(peaks_of(NM[list(rows)], seed=seed))
    return log_law(peaks, candidates(lines_of(u_nm=u_nm), "TeO2", 0.01), "TeO2", scale, 1.0)


def least_squares_chi2(law, peaks, lines):
    """Least squares with the priors as three more rows, by numpy's lstsq: no covariance, no update, no search."""
    u = np.sqrt(law.peak_variance[peaks] + law.line_variance[lines])
    rows = np.vstack([law.basis[lines] / u[:, None], np.diag(1 / np.sqrt(np.diag(law.prior_covariance)))])
    seen = np.append(
        (law.log_peak[peaks] - law.offset[lines]) / u, law.prior_mean / np.sqrt(np.diag(law.prior_covariance))
    )
    best = np.linalg.lstsq(rows, seen, rcond=None)[0]
    return float(np.sum((rows @ best - seen) ** 2))


def density(law, peaks, lines):
    rows = law.basis[lines]
    spread = rows @ law.prior_covariance @ rows.T + np.diag(law.peak_variance[peaks] + law.line_variance[lines])
    return multivariate_normal(law.offset[lines] + rows @ law.prior_mean, spread).logpdf(law.log_peak[peaks])


@pytest.mark.parametrize("scale", [None, ufloat(245, 5)])
def test_no_assignment_within_the_bound_is_missed_and_none_is_added(scale):
    law, bound, stranger = setting((1, 2, 4, 6), scale), 60.0, np.array([-0.5, 0.1, 0.2, -1.0])
    found = search(law, bound, stranger, in_order=False)
    ours = {
        tuple(lines): (chi2, ev)
        for lines, chi2, ev in zip(found.lines.tolist(), found.chi2, found.log_evidence, strict=True)
    }
    theirs = {}
    for lines in product(range(NONE, len(NM)), repeat=4):
        known = [k for k, j in enumerate(lines) if j != NONE]
        j = np.array([lines[k] for k in known], dtype=int)
        if len(set(j.tolist())) < len(known):
            continue
        chi2 = least_squares_chi2(law, known, j) if known else 0.0
        if chi2 <= bound:
            evidence = density(law, known, j) if known else 0.0
            theirs[lines] = (chi2, evidence + sum(stranger[k] for k in range(4) if k not in known))
    assert set(ours) == set(theirs)
    assert len(ours) > 50
    for lines, (chi2, evidence) in theirs.items():
        assert ours[lines] == pytest.approx((chi2, evidence), abs=2e-5, rel=1e-5)


def test_order_leaves_out_nothing_that_chi2_allows():
    law = setting((0, 1, 2, 5))
    stranger = np.zeros(4)
    kept, every = (search(law, 45.0, stranger, in_order=way) for way in (True, False))
    assert sorted(kept.lines.tolist()) == sorted(every.lines.tolist())


@pytest.mark.parametrize("seed", range(6))
def test_best_permutation_of_labels_is_that_of_all_permutations(seed):
    rng = np.random.default_rng(seed)
    nm = np.sort(rng.uniform(440, 700, 6))
    u = np.where(rng.random(6) < 0.6, 8.0, 0.1)  # labels so bad that the lines may cross
    peaks = peaks_of(nm, seed=seed)
    said = rng.permutation(lines_of(nm + u * rng.standard_normal(6), u)).tolist()
    stated = dict(zip(peaks, said, strict=True))
    numbers = as_peaks(peaks)
    exchange = exchanged_labels(numbers, stated, "TeO2", None)
    law = log_law(numbers, candidates(said, "TeO2", 1e-9), "TeO2", None, 1.0)
    lines = sorted(said, key=lambda line: line.wavelength_nm)
    every = {p: least_squares_chi2(law, np.arange(6), np.array(p)) for p in permutations(range(6))}
    assert len(every) == factorial(6)
    best = min(every, key=every.get)
    assert [exchange.best[name] for name in numbers.names] == [lines[k] for k in best]
    assert exchange.chi2_best == pytest.approx(every[best], rel=1e-5, abs=1e-5)
    near = sum(c < every[best] + 6.0 for c in every.values())
    assert len(exchange.rivals) == near - 1


def test_number_of_assignments_in_order():
    """With a bound above everything the search lists each set of k lines once for each k peaks: a known number."""
    law = setting((0, 2, 4), u_nm=np.full(7, 0.01))
    found = search(law, np.inf, np.zeros(3))
    assert len(found.chi2) == sum(comb(3, k) * comb(7, k) for k in range(4))
    in_order = [[j for j in lines if j != NONE] for lines in found.lines.tolist()]
    assert all(a < b for lines in in_order for a, b in combinations(lines, 2))
