"""What the text of a setting says: a number with its unit, a factor, a resistance."""

from __future__ import annotations

import re

__all__ = ["factor_in", "ohm_in", "quantity_in"]

_NUMBER = r"[+\-]?[0-9]+(?:[.,][0-9]+)?(?:[eE][+\-]?[0-9]+)?"
_QUANTITY = re.compile(rf"^\s*({_NUMBER})\s*(.*?)\s*$")
_FACTOR = re.compile(rf"^\s*(?:[x\u00d7*]\s*({_NUMBER})|({_NUMBER})\s*(?:[x\u00d7]|:\s*1)?)\s*$", re.IGNORECASE)
_OHM = re.compile(rf"({_NUMBER})\s*([kM]?)\s*(?:(?i:ohms?)|\u03a9|\u2126)?(?![\w.])")
_OPEN = re.compile(r"\b(?:hi(?:gh)?[ -]?z|open|high impedance)\b", re.IGNORECASE)


def quantity_in(text: str) -> tuple[float, str] | None:
    """Return number and text of the unit, None when the text does not begin with a number.

    >>> quantity_in("29,9 dB"), quantity_in("auto")
    ((29.9, 'dB'), None)
    """
    match = _QUANTITY.match(text)
    return (_number(match[1]), match[2]) if match else None


def factor_in(text: str) -> float | None:
    """Return the factor of a probe, None when the text is no factor.

    >>> factor_in("10X"), factor_in("x10"), factor_in("10:1"), factor_in("10"), factor_in("30 dB")
    (10.0, 10.0, 10.0, 10.0, None)
    """
    match = _FACTOR.match(text)
    return _number(match[1] or match[2]) if match else None


def ohm_in(text: str) -> float | None:
    """Return a resistance in ohm, infinity for an open input, None when the text says none.

    >>> ohm_in("1 MOhm"), ohm_in("DC 50 Ohm"), ohm_in("DC50"), ohm_in("1M"), ohm_in("High-Z"), ohm_in("AC")
    (1000000.0, 50.0, 50.0, 1000000.0, inf, None)
    """
    if _OPEN.search(text):
        return float("inf")
    match = _OHM.search(re.sub(r"(?i)\b(?:dc|ac)(?=[0-9])", "", text))
    return _number(match[1]) * {"": 1.0, "k": 1e3, "M": 1e6}[match[2]] if match else None


def _number(text: str) -> float:
    return float(text.replace(",", "."))
