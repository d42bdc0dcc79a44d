"""A write-up in, one self-contained HTML page out: styles, charts and photos inside it, nothing fetched."""

from __future__ import annotations

import base64
from collections.abc import Callable, Sequence
from html import escape

from journal.output.writeup import Section, WriteUp

Photos = Callable[[str], bytes | None]
"""SHA-256 of a photo to the bytes of a JPEG to show; none when its file is missing or is no picture any more."""

NOT_HERE = "The picture is not here: its file was left out of a pack, lost or damaged."
"""What stands in the place of such a photo."""

NO_BREAK_PERCENT = "\N{NO-BREAK SPACE}%"
"""A number and its per cent stay on one line (NIST SP 811, 7.10.2, asks for the space)."""

_STYLE = """
:root { color-scheme: light; }
body { font: 16px/1.45 system-ui, sans-serif; color: #1c1c1c; background: #fff; max-width: 52rem; margin: 2rem auto;
  padding: 0 1rem; }
h1 { font-size: 1.7rem; margin: 0 0 .6rem; } h2 { font-size: 1.15rem; margin: 1.6rem 0 .3rem; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .15rem 1rem; margin: 0; } dt { color: #555; }
dd { margin: 0; } .three { border: 1.5px solid #1c1c1c; padding: .2rem 1rem .8rem; margin-top: 1.2rem; }
.three h2 { margin-top: .8rem; } p { margin: .3rem 0; }
table { border-collapse: collapse; width: 100%; font-size: .9rem; margin-top: .4rem; }
th, td { text-align: left; vertical-align: top; padding: .3rem .5rem; border-bottom: 1px solid #bbb; }
.warning { border-left: 6px solid #1c1c1c; padding: .1rem 1rem .5rem; background: #f3efe2; }
.charts { display: flex; flex-wrap: wrap; gap: 1rem; } .charts svg { width: 24rem; max-width: 100%; height: auto; }
figure { margin: .6rem 0; display: inline-block; width: 24rem; max-width: 100%; vertical-align: top; }
figure img { width: 100%; height: auto; } figcaption { font-size: .85rem; }
.not-here { border: 1.5px dashed #555; padding: 2.5rem 1rem; margin: 0; text-align: center; }
@media screen and (max-width: 40rem) { thead { position: absolute; clip-path: inset(50%); }
  table, tbody, tr, td { display: block; }
  tr { border-bottom: 1px solid #bbb; padding: .3rem 0; } td { border: 0; padding: .05rem 0; }
  td::before { content: attr(data-head) ": "; color: #555; } }
.cautions { font-size: .8rem; border-left: 4px solid #1c1c1c; padding-left: .8rem; } .cautions h2 { font-size: 1rem; }
.figures td:nth-child(-n+6) { font-variant-numeric: tabular-nums; }
.signed { display: flex; flex-wrap: wrap; gap: 1rem 3rem; margin-top: 3rem; }
.signed p { flex: 1 1 14rem; border-top: 1px solid #1c1c1c; padding-top: .2rem; }
section, figure, tr, .signed { break-inside: avoid; } h2 { break-after: avoid; }
@media print { body { margin: 0; max-width: none; font-size: 10.5pt; } figure, .charts svg { width: 48%; } }
"""


def sheet_style(sheet: str) -> str:
    """CSS by which a printer puts these words at the foot of every sheet, and which sheet of how many it is.

    Every letter but plain ones stands as its number (CSS Syntax 3, 4.3.7), so that no word can end the rule.
    """
    words = "".join(c if c.isascii() and c.isalnum() else f"\\{ord(c):x} " for c in sheet)
    foot = "font: 8pt system-ui, sans-serif; color: #1c1c1c;"
    return (
        f'@page {{ margin: 14mm 15mm 17mm; @bottom-left {{ content: "{words}"; {foot} }} '
        f'@bottom-right {{ content: "sheet " counter(page) " of " counter(pages); {foot} }} }}'
    )


def as_html(write: WriteUp, charts: Sequence[str], photos: Photos) -> str:
    """The write-up as one page; `charts` are SVG texts, shown in order."""
    body = [f"<h1>{escape(write.title)}</h1>", "<dl>"]
    body += [f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>" for name, value in write.facts]
    body.append('</dl><div class="three">')
    for title, text in (("Complaint", write.complaint), ("Cause", write.cause), ("Correction", write.correction)):
        body.append(f"<h2>{title}</h2>{_paragraphs([text])}")
    body.append("</div>")
    body += [_section(section) for section in write.sections if section.warning]
    if write.cautions:
        body.append(f'<section class="cautions"><h2>Cautions</h2>{_paragraphs(write.cautions)}</section>')
    if charts:
        body.append(
            f'<section><h2>How much each cylinder pulls</h2><div class="charts">{"".join(charts)}</div></section>'
        )
    body += [_section(section) for section in write.sections if not section.warning]
    if write.photos:
        figures = "".join(_figure(photos(sha256), caption) for sha256, caption in write.photos)
        body.append(f"<section><h2>Photos</h2>{figures}</section>")
    body.append(f'<div class="signed">{_paragraphs(write.signed)}</div>')
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(write.sheet)}</title><style>{_STYLE}{sheet_style(write.sheet)}</style></head><body>"
        f"{''.join(body).replace(' %', NO_BREAK_PERCENT)}</body></html>\n"
    )


def _section(section: Section) -> str:
    head = "".join(f"<th>{escape(cell)}</th>" for cell in section.head)
    rows = "".join(f"<tr>{_cells(section.head, row)}</tr>" for row in section.rows)
    figures = ' class="figures"' if section.figures else ""
    table = f"<table{figures}><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>" if rows else ""
    kind = ' class="warning"' if section.warning else ""
    return f"<section{kind}><h2>{escape(section.title)}</h2>{_paragraphs(section.lines)}{table}</section>"


def _cells(head: Sequence[str], row: Sequence[str]) -> str:
    """A row's cells, each with its heading for narrow screens, where rows are read one cell below the other."""
    return "".join(f'<td data-head="{escape(name)}">{escape(cell)}</td>' for name, cell in zip(head, row, strict=True))


def _paragraphs(lines: Sequence[str]) -> str:
    return "".join(f"<p>{escape(line)}</p>" for line in lines)


def _figure(jpeg: bytes | None, caption: str) -> str:
    words = escape(caption)
    if jpeg is None:
        return f'<figure><p class="not-here">{NOT_HERE}</p><figcaption>{words}</figcaption></figure>'
    data = base64.b64encode(jpeg).decode("ascii")
    return f'<figure><img src="data:image/jpeg;base64,{data}" alt="{words}"><figcaption>{words}</figcaption></figure>'
