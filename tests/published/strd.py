"""Ten nonlinear sets of the NIST Statistical Reference Datasets: models, readings, certified values."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from aotf_lab.estimation import Parameter
from tests.house import SHARED


def _rational(numerator: int) -> Callable:
    def model(x, *b):
        return np.polyval(b[numerator - 1 :: -1], x) / np.polyval([*b[: numerator - 1 : -1], 1.0], x)

    return model


def _gauss1(x, *b):
    peaks = (b[k] * np.exp(-(((x - b[k + 1]) / b[k + 2]) ** 2)) for k in (2, 5))
    return b[0] * np.exp(-b[1] * x) + sum(peaks)


MODELS: dict[str, Callable] = {
    "BoxBOD": lambda x, b1, b2: b1 * (1 - np.exp(-b2 * x)),
    "Eckerle4": lambda x, b1, b2, b3: b1 / b2 * np.exp(-0.5 * ((x - b3) / b2) ** 2),
    "Gauss1": _gauss1,
    "Hahn1": _rational(4),
    "Kirby2": _rational(3),
    "MGH10": lambda x, b1, b2, b3: b1 * np.exp(b2 / (x + b3)),
    "MGH17": lambda x, b1, b2, b3, b4, b5: b1 + b2 * np.exp(-x * b4) + b3 * np.exp(-x * b5),
    "Misra1a": lambda x, b1, b2: b1 * (1 - np.exp(-b2 * x)),
    "Rat43": lambda x, b1, b2, b3, b4: b1 / (1 + np.exp(b2 - b3 * x)) ** (1 / b4),
    "Thurber": _rational(4),
}


@dataclass(frozen=True)
class ReferenceSet:
    """One data set with its certified results.

    The residual sd belongs to n - p degrees of freedom; the 9 printed for Rat43 (n = 15, p = 4) is a misprint.
    """

    name: str
    x: np.ndarray
    y: np.ndarray
    certified: np.ndarray
    sd: np.ndarray
    residual_sd: float
    starts: dict[str, np.ndarray]

    @property
    def model(self) -> Callable:
        return MODELS[self.name]

    def parameters(self, start: np.ndarray) -> list[Parameter]:
        return [Parameter(f"b{k + 1}", float(v)) for k, v in enumerate(start)]


def reference_set(name: str) -> ReferenceSet:
    """Return the set ``name`` from the shared tables."""
    certified = pd.read_csv(SHARED / "strd_certified.csv").query("dataset == @name")
    data = pd.read_csv(SHARED / "strd_data.csv").query("dataset == @name")
    first = certified.iloc[0]
    assert len(data) == first["n"]
    return ReferenceSet(
        name, data["col2"].to_numpy(), data["col1"].to_numpy(), certified["certified"].to_numpy(),
        certified["sd"].to_numpy(), float(first["residual_sd"]),
        {start: certified[start].to_numpy() for start in ("start1", "start2")},
    )  # fmt: skip


def digits(found: np.ndarray, certified: np.ndarray) -> float:
    """Return to how many digits all of ``found`` agree with what is certified."""
    return float(np.min(-np.log10(np.maximum(np.abs(found / certified - 1), 1e-15))))
