"""How many checks failed, and for how many reasons: one count for the report, the results and a comparison."""

from __future__ import annotations

import re
from collections.abc import Iterable

from aotf_lab.estimation.checks import failed_words

__all__ = ["failed_in_words", "failed_reasons", "question"]

_OF_ONE = (
    (re.compile(r"^prior on .+"), "known before"),
    (re.compile(r"^label of line .+"), "label of a line"),
    (re.compile(r"^line .+: (.+)"), r"\1"),
    (re.compile(r"^(?:left|right) (sidelobe)$"), r"\1"),
    (re.compile(r"^(overshoot) after the (?:rise|fall)$"), r"\1"),
)
"""Names that tell of one thing what is asked of others too."""

_TITLE = re.compile(r"(?P<part>\w+)[^:\[]*(?:\[.*\])?: (?P<name>.*)", re.DOTALL)

_GENERATOR = {"levels": "generator", "plays": "generator"}
"""Parts that ask the same of one instrument."""


def question(name: str) -> str:
    """Return what is asked, without the one thing that it is asked of.

    >>> question("prior on skew"), question("left sidelobe"), question("scatter")
    ('known before', 'sidelobe', 'scatter')
    """
    for pattern, kept in _OF_ONE:
        if pattern.match(name):
            return pattern.sub(kept, name)
    return name


def failed_reasons(titles: Iterable[str]) -> tuple[str, ...]:
    """Return the reasons behind failed checks of these titles: one for each question that is asked of one part.

    >>> failed_reasons(["levels [A]: reach", "plays [on: off]: reach", "scans [D]: drift", "efficiency.own [B]: reach"])
    ('generator: reach', 'scans: drift', 'efficiency: reach')
    """
    return tuple(dict.fromkeys(map(_reason, titles)))


def failed_in_words(titles: Iterable[str]) -> str:
    """Return how many checks failed, each title once, and for how many reasons.

    >>> failed_in_words(["scans [D]: drift", "scans [E]: drift", "vco: scatter"])
    '3 checks failed, for 2 reasons'
    """
    once = tuple(dict.fromkeys(titles))
    return failed_words(len(once), len(failed_reasons(once)))


def _reason(title: str) -> str:
    found = _TITLE.fullmatch(title)
    if found is None:
        return title
    return f"{_GENERATOR.get(found['part'], found['part'])}: {question(found['name'])}"
