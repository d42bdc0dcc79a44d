"""A write-up in, plain text out."""

from __future__ import annotations

import textwrap

from journal.output.writeup import Section, WriteUp

WIDTH = 96


def as_text(write: WriteUp) -> str:
    """The write-up as plain text, wrapped for reading."""
    blocks = ["\n".join([write.title, "=" * len(write.title), *(f"{k}: {v}" for k, v in write.facts)])]
    blocks += [
        _block(title, [text])
        for title, text in (
            ("Complaint", write.complaint),
            ("Cause", write.cause),
            ("Correction", write.correction),
        )
    ]
    blocks += [_block(section.title, _section(section)) for section in write.sections]
    if write.photos:
        blocks.append(_block("Photos", [caption for _, caption in write.photos]))
    blocks.append(_block("Cautions", list(write.cautions)))
    return "\n\n".join(blocks) + "\n"


def _section(section: Section) -> list[str]:
    lines = list(section.lines)
    for row in section.rows:
        cells = [f"{head.lower()}: {cell}" for head, cell in zip(section.head[1:], row[1:], strict=True) if cell != "-"]
        lines.append(f"{row[0]}; {'; '.join(cells)}")
    return lines


def _block(title: str, lines: list[str]) -> str:
    wrapped = [textwrap.fill(line, WIDTH, initial_indent="  ", subsequent_indent="    ") for line in lines]
    return "\n".join([title, *wrapped])
