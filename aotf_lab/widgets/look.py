"""How a panel looks: on a wide screen, on a tablet at the bench under a finger, on a phone.

What is pressed is ticked, not only darker; where the keyboard stands has a ring; a refusal stays in sight while its
panel is; a finger gets controls of 44 px (WCAG 2.2, 2.5.5) with letters of 16 px.
"""

from __future__ import annotations

__all__ = ["LOOK", "PANEL", "PICTURE", "SAID", "WORDS"]

PANEL, WORDS, SAID, PICTURE = "aotf-lab-panel", "aotf-lab-words", "aotf-lab-said", "aotf-lab-picture"
"""Classes of a whole panel, of its tables and captions, of the place of its errors, of the box of its picture."""

_OWN_KEYS = (
    "this.closest('.aotf-lab-panel').addEventListener('focusin', e => e.target.matches(':read-write')"
    " || e.target.setAttribute('data-lm-suppress-shortcuts', 'true'))"
)
"""JupyterLab takes the keys of a list, slider or button for its own commands: D D deletes the cell. Lumino, which hands
the keys out, leaves alone what has this attribute."""

LOOK = (
    f'<style onload="{_OWN_KEYS}">'
    + """
.aotf-lab-panel, .jp-OutputArea-output:has(> .aotf-lab-panel), .jp-OutputArea-child:has(> * > .aotf-lab-panel),
.jp-Cell-outputArea:has(.aotf-lab-panel) {overflow: visible}
.aotf-lab-panel h3 {margin: 0.4em 0}
.aotf-lab-panel .widget-inline-hbox {height: auto; flex-wrap: wrap}
.aotf-lab-panel .widget-label {
  white-space: normal; height: auto; max-width: 100%; overflow: visible; line-height: 1.4; text-align: left}
.aotf-lab-panel .widget-toggle-buttons .widget-label {margin-right: 0.5em}
.aotf-lab-panel select, .aotf-lab-panel input {
  min-height: var(--jp-widgets-inline-height); min-width: 5em; box-sizing: border-box}
.aotf-lab-panel .widget-inline-hbox input {flex: 1 1 5em; width: 5em}
.aotf-lab-panel .widget-button, .aotf-lab-panel .widget-toggle-button {
  height: auto; min-height: var(--jp-widgets-inline-height); white-space: normal; max-width: 100%}
.aotf-lab-panel .widget-inline-hbox, .aotf-lab-panel .widget-toggle-buttons {align-items: center}
.aotf-lab-panel .mod-active {font-weight: bold}
.aotf-lab-panel .mod-active::before {content: "\\2713\\00a0"}
.aotf-lab-panel :focus-visible, .aotf-lab-panel input:focus {
  outline: 3px solid #1a4f9c !important; outline-offset: 1px !important}
.aotf-lab-words {overflow-wrap: break-word; font-variant-numeric: tabular-nums}
.aotf-lab-words .widget-html-content {width: 100%; min-width: 0; overflow: visible}
.aotf-lab-words th {text-align: left; vertical-align: top; padding-right: 0.8em}
.aotf-lab-words caption {text-align: left; font-weight: bold; line-height: 1.4}
.aotf-lab-words th, .aotf-lab-words td, .aotf-lab-words li, .aotf-lab-words p {line-height: 1.4}
.aotf-lab-words ul {padding-left: 1.2em}
.aotf-lab-said {position: sticky; top: 0; bottom: 0; z-index: 5; align-self: flex-start; max-width: 100%}
.aotf-lab-said p {
  margin: 0.2em 0; padding: 0.4em 0.8em; background: #fff4e0; color: #222; border-left: 5px solid #b35900}
.aotf-lab-picture {overflow-x: auto}
@media (max-width: 600px) {.aotf-lab-picture img {min-width: 560px; max-width: none !important}}
@media (pointer: coarse) {
  .aotf-lab-panel {--jp-widgets-inline-height: 44px; --jp-widgets-font-size: 16px; font-size: 16px}
  .aotf-lab-panel .widget-html-content, .aotf-lab-panel table, .aotf-lab-panel small {font-size: 16px}}
</style>"""
)
