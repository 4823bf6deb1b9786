"""A kept curve asked at a number that may carry an uncertainty of its own, forwards and back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from uncertainties import UFloat

from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.smooth.numbers import as_array

__all__ = ["asked_back", "asked_forward"]


def asked_forward(values: Sequence[UFloat], slopes: FloatArray, elements: Sequence[Any], scalar: bool) -> Any:
    """Return the curve's ``values`` (m) at ``elements`` (m), moved along its ``slopes`` (m,) as these vary."""
    results = [
        value + float(slope) * (element - element.n) if isinstance(element, UFloat) else value
        for value, slope, element in zip(values, slopes, elements, strict=True)
    ]
    return results[0] if scalar else as_array(results)


def asked_back(
    places: FloatArray, values: Sequence[UFloat], slopes: FloatArray, elements: Sequence[Any], scalar: bool
) -> Any:
    """Return the ``places`` (m,) where the curve takes ``elements`` (m), with the doubt of its ``values`` (m) there."""
    results = [
        float(place)
        + ((element - element.n if isinstance(element, UFloat) else 0.0) - (value - value.n)) / float(slope)
        for place, value, slope, element in zip(places, values, slopes, elements, strict=True)
    ]
    return results[0] if scalar else as_array(results)
