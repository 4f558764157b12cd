"""How the page of a delivery looks: its style sheet, and the marks as drawings."""

from __future__ import annotations

import math
from collections.abc import Mapping

from compliance.model import Verdict

__all__ = ["MARKS", "STYLE"]

STYLE = """
:root { --text: #1b2330; --quiet: #56606d; --hair: #c9ced4; --wash: #f1f3f5; }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 54rem; padding: 2.5rem 1.5rem; color: var(--text);
  background: #fff; font: 0.95rem/1.45 "Helvetica Neue", Arial, "DejaVu Sans", sans-serif; }
h1, h2, .word { font-family: Georgia, "DejaVu Serif", serif; font-weight: normal; margin: 0; }
h1 { font-size: 2rem; line-height: 1.2; margin-bottom: 1rem; }
h2 { font-size: 1.2rem; }
p { margin: 0.35rem 0; }
.kind { margin: 0; color: var(--quiet); }
.word { font-size: 1.45rem; margin: 0.1rem 0 0.3rem; }
.pass { color: #0f6b66; }
.conditional-pass, .conditional-fail { color: #8a5a08; }
.fail { color: #7a1f5c; }
.not-assessed { color: #5d6672; }
dl { margin: 0.6rem 0 0; }
dl div { display: grid; grid-template-columns: 8.5rem 1fr; gap: 0.8rem; padding: 0.12rem 0; }
dt { color: var(--quiet); overflow-wrap: anywhere; }
dd { margin: 0; overflow-wrap: anywhere; }
header { border-bottom: 2px solid var(--text); padding-bottom: 1rem; }
header dl { columns: 2; column-gap: 2rem; margin: 0; }
header dl div { grid-template-columns: 6rem 1fr; break-inside: avoid; }
article { display: grid; grid-template-columns: 4.2rem 1fr; padding: 1.1rem 0;
  border-bottom: 1px solid var(--hair); break-inside: avoid; }
.mark { width: 3rem; height: 3rem; margin-top: 0.2rem; }
.small { width: 0.85rem; height: 0.85rem; vertical-align: -0.08rem; margin-right: 0.25rem; }
.facts { display: grid; grid-template-columns: 1.4fr 1fr; column-gap: 1.2rem; }
.facts div { grid-template-columns: 5.4rem 1fr; }
.wide { grid-column: 1 / -1; }
ul { list-style: none; margin: 0.5rem 0; padding: 0; }
li { padding: 0.1rem 0 0.1rem 1.2rem; text-indent: -1.2rem; }
section { padding: 1.4rem 0 0; break-inside: avoid; }
section dl div { grid-template-columns: 12rem 1fr; }
code, pre { font: 0.85em/1.4 "DejaVu Sans Mono", Consolas, monospace; }
pre { background: var(--wash); padding: 0.6rem 0.8rem; overflow-x: auto; }
a { color: inherit; }
@media (max-width: 36rem) {
  header dl { columns: 1; }
  article { grid-template-columns: 1fr; }
  .facts { grid-template-columns: 1fr; }
  dl div, .facts div, section dl div { grid-template-columns: 1fr; gap: 0; }
}
@media print {
  body { max-width: none; padding: 0; font-size: 9pt; }
  @page { margin: 14mm 16mm; }
  article { padding: 0.7rem 0; }
  h1 { font-size: 18pt; }
  pre { border: 1px solid var(--hair); }
}
""".strip()

RING = '<circle cx="12" cy="12" r="9.9" fill="none" stroke="currentColor" stroke-width="2.2"/>'


def _half(sweep: int) -> str:
    return f'<path d="M12 2.1 A9.9 9.9 0 0 {sweep} 12 21.9 Z" fill="currentColor"/>'


def _dots() -> str:
    """A ring of dots."""
    places = (2 * math.pi * (step + 0.5) / 12 for step in range(12))
    return "".join(
        f'<circle cx="{12 + 9.9 * math.cos(at):.2f}" cy="{12 + 9.9 * math.sin(at):.2f}" r="1.4" '
        'fill="currentColor"/>'
        for at in places
    )


SHAPES: Mapping[Verdict, tuple[str, str]] = {
    Verdict.PASS: ("pass", '<circle cx="12" cy="12" r="11" fill="currentColor"/>'),
    Verdict.CONDITIONAL_PASS: ("conditional pass", RING + _half(0)),
    Verdict.CONDITIONAL_FAIL: ("conditional fail", RING + _half(1)),
    Verdict.FAIL: (
        "fail",
        RING + '<path d="M5 5 L19 19" stroke="currentColor" stroke-width="2.2"/>',
    ),
    Verdict.NOT_ASSESSED: ("not assessed", _dots()),
}
"""Filled disc, disc filled on the left or right half, barred ring, dotted ring."""

MARKS: Mapping[Verdict, str] = {
    verdict: (
        f'<svg class="mark" viewBox="0 0 24 24" role="img" aria-label="{word}">'
        f'<g class="{verdict.value}">{shape}</g></svg>'
    )
    for verdict, (word, shape) in SHAPES.items()
}
