"""Every error that aotf_lab raises on purpose.

    AotfLabError                 anything below; carries what, where, found, allowed, cure
    |-- ReadingError             a raw file, or a cell of it, cannot be understood
    |-- SessionError             session.toml is missing, contradictory or unusable
    |-- ReadingsError            the readings cannot support the fit that was asked for
    |-- FitError                 the fit ran and its result must not be used
    |-- OutOfRangeError          asked outside the measured range; carries low, high, nearest
    |-- RecordError              a kept calibration is damaged, foreign or of another schema, or cannot be kept
    |-- UnsafeDriveError         would drive the crystal above its rated RF power
    `-- MaterialError            a crystal material or optical range without packaged data

One wording for all: what went wrong, where (file:line, column), the value found, what is
allowed, what to do. The parts stay readable as attributes.
"""

from __future__ import annotations

__all__ = [
    "AotfLabError",
    "FitError",
    "MaterialError",
    "OutOfRangeError",
    "ReadingError",
    "ReadingsError",
    "RecordError",
    "Said",
    "SessionError",
    "UnsafeDriveError",
]


class Said(str):
    """A value found that is already put into words: shown as it is, where raw text is shown in quotes."""

    __slots__ = ()


class AotfLabError(Exception):
    """Base of all errors of the package.

    Parameters
    ----------
    what : the failure in one clause.
    where : file, file:line, or file:line and column; empty when no file is involved.
    found : the value found; raw text is shown in quotes, ``Said`` text and numbers are not. A whole number is shown
        without ".0": who typed 5 reads 5.
    allowed : what would have been accepted.
    cure : what the reader can do now.

    >>> print(AotfLabError("text in a number", where="vco.csv:7, column 'Drive (V)'",
    ...                    found="six", allowed="a number in V", cure="correct the cell"))
    vco.csv:7, column 'Drive (V)': text in a number; found 'six'; allowed: a number in V; correct the cell
    """

    def __init__(self, what: str, *, found: object, allowed: str, cure: str, where: str = "") -> None:
        self.what = what
        self.where = where
        self.found = found
        self.allowed = allowed
        self.cure = cure
        place = f"{where}: " if where else ""
        super().__init__(f"{place}{what}; found {_shown(found)}; allowed: {allowed}; {cure}")


def _shown(found: object) -> str:
    if isinstance(found, float):
        return str(found).removesuffix(".0")
    return repr(found) if type(found) is str else str(found)


class ReadingError(AotfLabError):
    """A raw file, or a cell of it, cannot be understood."""


class SessionError(AotfLabError):
    """The session folder or its session.toml is missing, contradictory or unusable."""


class ReadingsError(AotfLabError):
    """The readings were understood but cannot support the fit: too few, duplicated, impossible."""


class FitError(AotfLabError):
    """The fit ran, but did not converge or cannot tell its parameters apart: nothing to use."""


class OutOfRangeError(AotfLabError):
    """A curve was asked outside the range in which it was measured.

    ``low`` and ``high`` are the ends of that range and ``nearest`` the end closest to the
    value asked, all in the unit that the message names.
    """

    def __init__(self, name: str, value: float, low: float, high: float, unit: str, where: str = "") -> None:
        self.low = low
        self.high = high
        self.nearest = low if value < low else high
        super().__init__(
            f"{name} lies outside the measured range",
            where=where,
            found=Said(f"{value:.6g} {unit}".strip()),
            allowed=f"{low:.6g} to {high:.6g} {unit}".strip(),
            cure=f"ask at {self.nearest:.6g} {unit} at the most, or measure further out"
            if value > high
            else f"ask at {self.nearest:.6g} {unit} at the least, or measure further out",
        )


class RecordError(AotfLabError):
    """A file of a kept calibration is damaged, foreign or of another schema; or a calibration cannot be kept."""


class UnsafeDriveError(AotfLabError):
    """The drive asked for could exceed the crystal's rated RF power."""


class MaterialError(AotfLabError):
    """No packaged data for this crystal material, or not at this wavelength."""
