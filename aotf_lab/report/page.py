"""Pages from the templates that lie beside this file."""

from __future__ import annotations

from importlib.resources import files

import jinja2

from aotf_lab.report.words import typeset

__all__ = ["rendered"]


def rendered(template: str, **content: object) -> str:
    """Return the page that ``template`` lays out of ``content``; a name that is missing in it raises."""
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, loader=jinja2.FunctionLoader(_text)
    )
    environment.filters["typeset"] = typeset
    return environment.get_template(template).render(content) + "\n"


def _text(name: str) -> str:
    return files("aotf_lab.report").joinpath(name).read_text(encoding="utf-8")
