"""Reading printed values: the shared tables, and agreement to the digits in print."""

import re

import pandas as pd

from tests.house import SHARED


def expected(example: str, quantity: str) -> str:
    """Return the text printed for ``quantity`` of ``example`` in the table of worked examples."""
    table = pd.read_csv(SHARED / "metrology_expected.csv", dtype=str)
    rows = table[(table["example"] == example) & (table["quantity"] == quantity)]
    assert len(rows) == 1, (example, quantity)
    return str(rows["expected"].iloc[0])


def numbers(text: str) -> list[str]:
    """Return the numbers in ``text`` as printed."""
    return re.findall(r"[-+]?\d+\.?\d*(?:e[-+]?\d+)?", text)


def agrees(value: float, printed: str) -> bool:
    """Whether ``value`` rounds to ``printed``: within half a unit of its last digit, give or take a hundredth."""
    mantissa, _, exponent = printed.partition("e")
    decimals = len(mantissa.partition(".")[2])
    half = 0.51 * 10.0 ** (int(exponent or 0) - decimals)
    return abs(value - float(printed)) <= half


def agree(values: list[float], printed: list[str]) -> bool:
    """Whether each value rounds to what is printed at its place."""
    return all(agrees(v, p) for v, p in zip(values, printed, strict=True))


def short(printed: str) -> tuple[str, str]:
    """Return value and uncertainty of the short form ``-0.1712(29)`` as printed numbers.

    >>> short("-0.1712(29)")
    ('-0.1712', '0.0029')
    """
    value, digits = re.fullmatch(r"([-+]?\d+\.?\d*)\((\d+)\)", printed).groups()
    decimals = len(value.partition(".")[2])
    return value, f"{int(digits) * 10.0**-decimals:.{decimals}f}"
