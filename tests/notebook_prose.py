"""Numbers that a notebook's prose quotes, and numbers that its cells type, or print where nbval compares them."""

from __future__ import annotations

import json
import re
from pathlib import Path

ATOM = (
    r"%|percent|ppm|dBc|dBm|dB|[GMk]?Hz|[nmuck]?m|[munp]?s|min|h|days?|[muk]?V|[munk]?W|[Mk]?ohm|mA|K|degC|deg|pF|[nm]J|u|FWHM"
    r"|[mu]?rad|[kM]?bit|[kM]B"
)
UNIT = rf"(?:{ATOM})(?:/(?:{ATOM}))?"
ONE = r"\d{1,3}(?:,\d{3})+(?!\d)|\d+(?:\.\d+)?(?:[eE][-+]?\d+)?"
VALUE = rf"(?:{ONE})(?:\(\d[\d.]*\))?"
BETWEEN = r"\s*(?:to|and|or|by|\+?/?-|[,/±])\s*[-+]?\s*"
QUANTITY = re.compile(rf"(?<![\w.,^_])((?:{VALUE}{BETWEEN})*{VALUE})[ ~-]?({UNIT})(?![\w/])")
BARE = re.compile(rf"(?<![\w.,^_:])(?:{ONE})(?![\w.]*[A-Za-z_])")
REFERENCE = re.compile(
    r"(?:\w+\.? )?\d+, \d+ \(\d{4}\)|(?:JCGM|ISO(?:/TS|/IEC)?|IEC|IEEE|ASTM [A-Z]) ?\d[\d:-]*"
    r"|[A-Z][\w.]+ (?:et al\. )?(?:19|20)\d\d\b|\((?:19|20)\d\d\)|\b20\d\d-\d\d-\d\d\b"
    r"|^#+ \d+\b|^\s*\d+\. |\b0\d(?: to \d\d)?\b|[Nn]otebooks? \W*\d\d(?:(?:, | and | to )\W*\d\d)*",
    re.MULTILINE,
)
"""Numbers that name a standard, a paper, a date, a heading or a notebook."""
CODE = re.compile(r"```.*?```|^    .*?$|`[^`]*`", re.DOTALL | re.MULTILINE)
RAISED = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻", "0123456789-")
ALIKE = {
    "µ": "u",
    "μ": "u",
    "Ω": "ohm",
    "−": "-",
    "–": "-",
    "\u00a0": " ",
    "°C": "degC",
    "°": " deg",
    "\\%": "%",
    "\\,": " ",
    "\\ ": " ",
}


def load(path: Path) -> list[dict]:
    return json.loads(path.read_text("utf-8"))["cells"]


def source(cell: dict) -> str:
    return "".join(cell["source"])


def markdown(cells: list[dict]) -> str:
    return "\n\n".join(source(cell) for cell in cells if cell["cell_type"] == "markdown")


def is_compared(cell: dict) -> bool:
    return cell["cell_type"] == "code" and "# NBVAL_CHECK_OUTPUT" in source(cell)


def printed(cell: dict) -> str:
    texts = [output.get("text", output.get("data", {}).get("text/plain", "")) for output in cell["outputs"]]
    return "\n".join("".join(text) for text in texts)


def plain(text: str) -> str:
    """Text with units, powers of ten and marks as code and outputs write them."""
    for mark, written in ALIKE.items():
        text = text.replace(mark, written)
    text = re.sub("[⁰¹²³⁴⁵⁶⁷⁸⁹⁻]+", lambda found: "^" + found[0].translate(RAISED), text)
    text = re.sub(r"\\(?:mathrm|text)\{([^}]*)\}|\*\*|\$", r"\1", text)
    text = re.sub(r"(?<=\d) C\b", " degC", text)
    text = re.sub(r"\b([\d.]+) ?(?:×|\\times) ?10\^\{?(-?\d+)\}?", r"\1e\2", text)
    return re.sub(r"\b10\^\{?(-?\d+)\}?", r"1e\1", text)


def quantities(text: str) -> list[tuple[str, str]]:
    """Each number with its unit; ranges and lists before one unit are taken apart, so ``12 to 23 %`` gives both."""
    return [(n, unit) for chain, unit in QUANTITY.findall(text) for n in re.findall(ONE, re.sub(r"\(.*?\)", "", chain))]


def quoted(cells: list[dict]) -> list[tuple[str, str]]:
    """Numbers of the prose: with their unit; without one where they have a decimal point or reach 10."""
    prose = CODE.sub(lambda code: code[0] if re.fullmatch(r"`[\d.()]+`", code[0]) else " ", markdown(cells))
    prose = re.sub(r"\$\$.*?\$\$", " ", REFERENCE.sub(" ", prose), flags=re.DOTALL)
    outside_formulas = QUANTITY.sub(_brackets, plain(re.sub(r"\$[^$]*\$", " ", prose)))
    bare = [(n, "") for n in BARE.findall(outside_formulas) if "." in n or value(n) >= 10]
    return quantities(plain(prose)) + bare


def _brackets(found: re.Match[str]) -> str:
    return " ".join(re.findall(r"\(\d[\d.]*\)", found[0])) or " "


def value(digits: str) -> float:
    return float(digits.replace(",", ""))


def units_named(text: str) -> set[str]:
    """Units that stand away from a number: in the head of a table, or at the end of a name: ``f_mhz``, ``v_m_s``."""
    away = QUANTITY.sub(" ", text)
    named = re.findall(rf"(?<!\w)(?:{UNIT})(?![\w/])", away) + re.findall(r"_([a-z]+)\b", away)
    named += ["/".join(parts) for parts in re.findall(r"_([a-z]+)_(?:per_)?([a-z]+)\b", away)]
    return {"%" if unit == "percent" else unit.lower() for unit in named}


def known(cells: list[dict]) -> dict[str, list[float]]:
    """Numbers that code types or compared cells print, by unit in small letters; all of them under ``""``.

    A number with a unit behind it counts for that unit only; one without counts for the units that its line names, or
    the last line above it that names any: the head of a table.
    """
    found: dict[str, list[float]] = {"": []}
    typed = [line.partition("# ")[0] for c in cells if c["cell_type"] == "code" for line in source(c).splitlines()]
    for text in [*typed, *(plain(printed(cell)) for cell in cells if is_compared(cell))]:
        head: set[str] = set()
        for line in text.splitlines():
            head = units_named(line) or {unit.lower() for _, unit in quantities(line)} or head
            for unit in head:
                found.setdefault(unit, []).extend(value(n) for n in re.findall(ONE, QUANTITY.sub(" ", line)))
            for digits, unit in quantities(line):
                found.setdefault(unit.lower(), []).append(value(digits))
            found[""] += [value(n) for n in re.findall(ONE, line)]
    return found


def unsupported(cells: list[dict], facts: set[str] | frozenset[str] = frozenset()) -> list[str]:
    """Numbers of the prose to whose digits no compared output or typed input rounds, and that no fact states."""
    numbers = known(cells)

    def stands(digits: str, unit: str) -> bool:
        half_a_digit = 0.5 * 10.0 ** -len(digits.partition(".")[2]) * (1 + 1e-9)
        return any(abs(x - value(digits)) <= half_a_digit for x in numbers.get(unit.lower(), ()))

    return [words for n, unit in quoted(cells) if (words := f"{n} {unit}".strip()) not in facts and not stands(n, unit)]
