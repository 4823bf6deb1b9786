"""Labels of two scans that were exchanged make a session unusable, whatever the efficiencies are named."""

import pytest

from aotf_lab.session import check_session
from tests.test_session import copy_of_demo


def scans_exchanged(text):
    return text.replace("scan_D_", "scan_X_").replace("scan_E_", "scan_D_").replace("scan_X_", "scan_E_")


def and_the_efficiency_renamed(text):
    """Return a session in which the only efficiency of the two was named after the wrong scan too."""
    return scans_exchanged(text).replace('efficiency_E.csv"\npurpose = "efficiency"\nline = "E"',
                                         'efficiency_E.csv"\npurpose = "efficiency"\nline = "D"')  # fmt: skip


@pytest.mark.parametrize("edit", [scans_exchanged, and_the_efficiency_renamed])
def test_exchanged_scans_are_one_contradiction_with_one_cure(tmp_path, edit):
    check = check_session(copy_of_demo(tmp_path, edit=edit))
    (found,) = [c for c in check.contradictions if c.unusable]
    assert found.what.startswith("the labels of E and D were exchanged")
    assert found.cure.startswith("exchange line in the [[file]] of these scans")
    assert not check.usable
    assert "the labels of E and D were exchanged" in check.verdict
