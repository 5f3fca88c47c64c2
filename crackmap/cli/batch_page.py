"""The page that shows a batch: failures first, then a picture and the figures of every job. Nothing is fetched."""

from __future__ import annotations

import os
from collections.abc import Sequence
from html import escape
from urllib.parse import quote

from crackmap.cli.batch_rows import DONE, FAILED, Row
from crackmap.sheets.words import counted
from crackmap.units import show_length

PICTURES = "pictures"

_STYLE = """
:root { color-scheme: light dark; --line: #8886; --bad: #a02312; }
@media (prefers-color-scheme: dark) { :root { --bad: #ff9a86; } }
body { font: 16px/1.45 system-ui, sans-serif; margin: 0 auto; max-width: 76rem; padding: 1rem; }
h1 { font-size: 1.4rem; margin: 0 0 .3rem; }
h2 { font-size: 1.1rem; margin: 1.6rem 0 .5rem; }
ul { margin: 0; padding-left: 1.2rem; }
.failed b { color: var(--bad); }
.jobs { display: grid; gap: 1rem; grid-template-columns: repeat(auto-fill, minmax(19rem, 1fr)); padding: 0;
  list-style: none; }
.jobs li { border: 1px solid var(--line); border-radius: .4rem; overflow: hidden; }
.jobs img { aspect-ratio: 4 / 3; display: block; object-fit: contain; width: 100%; background: #8882; }
.jobs div { padding: .5rem .8rem .7rem; overflow-wrap: anywhere; }
.jobs h3 { font-size: 1rem; margin: 0 0 .2rem; }
.jobs p { margin: .15rem 0; }
"""


def batch_page(title: str, rows: Sequence[Row], units: str) -> bytes:
    """The page as HTML.

    Parameters
    ----------
    title : str
        What the batch is called: the photos' folder.
    rows : sequence of Row
        In the order of the photos.
    units : {"mm", "in"}
        Of the lengths shown.
    """
    done = [row for row in rows if row.status == DONE]
    failed = [row for row in rows if row.status == FAILED]
    waiting = len(rows) - len(done) - len(failed)
    head = f"{len(rows)} photos: {len(done)} done, {len(failed)} failed" + (f", {waiting} not begun" if waiting else "")
    parts = [
        '<!doctype html><html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{escape(title)}: slabs measured</title><style>{_STYLE}</style></head><body>",
        f"<h1>{escape(title)}</h1><p>{head}. The same as a table: <a href=\"summary.csv\">summary.csv</a>.</p>",
    ]
    if failed:
        parts.append('<h2>Failed</h2><ul class="failed">')
        parts += [f"<li><b>{escape(row.photo)}</b>: {escape(row.message)}</li>" for row in failed]
        parts.append("</ul>")
    if done:
        parts.append('<h2>Done</h2><ul class="jobs">')
        parts += [_card(row, units) for row in done]
        parts.append("</ul>")
    return "".join([*parts, "</body></html>\n"]).encode("utf-8", "replace")


def _card(row: Row, units: str) -> str:
    """One job: its picture, its figures, its files."""
    folder = quote(os.fsencode(row.folder))
    facts = [
        f"{_length(row.length_mm, units)} x {_length(row.width_mm, units)} over all, scale within "
        f"{row.scale_sigma_percent} % two times out of three",
        f"{counted(row.cracks or 0, 'crack')}, {_length(row.crack_length_mm, units)} in all; "
        f"{counted(row.voids or 0, 'void')}",
        f"{counted(row.keys or 0, 'key')}; mix about {row.resin_mix_ml or 0.0:.0f} ml of resin",
        f"{counted(row.warnings, 'thing')} to look at" if row.warnings else "",
    ]
    links = [("annotated.png", "picture"), ("setting-out.pdf", "bench sheet")]
    if row.drawing:
        links += [(row.drawing, "slab DXF"), (row.drawing.replace("slab", "keys", 1), "keys DXF")]
    links.append(("", "all files"))
    return (
        f'<li><a href="{folder}/annotated.png"><img loading="lazy" src="{PICTURES}/{folder}.jpg" '
        f'alt="{escape(row.photo)} with its cracks and keys"></a><div><h3>{escape(row.photo)}</h3>'
        + "".join(f"<p>{escape(fact)}</p>" for fact in facts if fact)
        + "<p>" + " · ".join(f'<a href="{folder}/{name}">{words}</a>' for name, words in links) + "</p></div></li>"
    )


def _length(value: float | None, units: str) -> str:
    return "-" if value is None else show_length(value, units, 0)
