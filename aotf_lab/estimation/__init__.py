"""Estimation: the engine of all fits, and the only room that talks to lmfit.

    Problem, Parameter  what is to be fitted, with priors and shared errors         problem.py
    weighted_fit        weighted, errors in both variables, priors -> Fit           weighted.py
                        find the minimum and prove it; look for a deeper one        solver.py, restarts.py
                        say what the readings cannot decide                         undetermined.py
    Fit                 correlated parameters, chi2, dof, checks, budget            fit.py, describe.py, fit_checks.py
    FittedFunction      a fitted function and its inverse with uncertainty          evaluate.py
    linear              many numbers at once, by their values and slopes            linear.py
    confidence_band     where the curve may lie; prediction_band: the next reading  bands.py
    profile_interval    asymmetric intervals                                        intervals.py
    leave_one_out       what the others say of each reading                         influence.py
    smooth/             smooth curves of unknown form, the doubt about the form in their band
    CommonError         an error that all readings of a column share                causes.py
    Check               one named question about a result                           checks.py
    variance_shares     which cause makes how much of an uncertainty                budget.py

Each named cause of error is one shared ``uncertainties`` variable; the scatter of a fit's readings
is a group of independent ones. Parameters are linear combinations of those, so a difference of two
results keeps its correlation and a budget is the share of variance per tag.
"""

from aotf_lab.estimation.bands import confidence_band, prediction_band
from aotf_lab.estimation.budget import effective_dof, largest_cause, u_by_cause, variance_shares
from aotf_lab.estimation.causes import CommonError, new_cause
from aotf_lab.estimation.checks import SIGNIFICANCE, Check
from aotf_lab.estimation.evaluate import FittedFunction
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.influence import LeftOut, leave_one_out
from aotf_lab.estimation.intervals import profile_interval
from aotf_lab.estimation.problem import Parameter, Problem
from aotf_lab.estimation.weighted import fit_problem, weighted_fit

__all__ = [
    "SIGNIFICANCE",
    "Check",
    "CommonError",
    "Fit",
    "FittedFunction",
    "LeftOut",
    "Parameter",
    "Problem",
    "confidence_band",
    "effective_dof",
    "fit_problem",
    "largest_cause",
    "leave_one_out",
    "new_cause",
    "prediction_band",
    "profile_interval",
    "u_by_cause",
    "variance_shares",
    "weighted_fit",
]
