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
    blocks += [_block(section.title, _section(section)) for section in write.sections if section.warning]
    if write.cautions:
        blocks.append(_block("Cautions", list(write.cautions)))
    blocks += [
        "\n".join([_block(section.title, _section(section)), *_columns(section)])
        for section in write.sections
        if not section.warning
    ]
    if write.photos:
        blocks.append(_block("Photos", [caption for _, caption in write.photos]))
    blocks.append("\n\n".join(f"{words}: {'_' * 40}" for words in write.signed))
    blocks.append(write.sheet)
    return "\n\n".join(blocks) + "\n"


def _section(section: Section) -> list[str]:
    lines = list(section.lines)
    for row in () if _fits(section) else section.rows:
        cells = [f"{head.lower()}: {cell}" for head, cell in zip(section.head[1:], row[1:], strict=True) if cell != "-"]
        lines.append(f"{row[0]}; {'; '.join(cells)}")
    return lines


def _columns(section: Section) -> list[str]:
    """A table of figures in columns, where they fit beside each other."""
    if not section.rows or not _fits(section):
        return []
    wide = _wide(section)
    rows = ["  ".join(cell.ljust(width) for cell, width in zip(row, wide, strict=True)).rstrip()
            for row in (section.head, *section.rows)]  # fmt: skip
    return [f"  {row}" for row in rows]


def _fits(section: Section) -> bool:
    return section.figures and sum(_wide(section)) + 2 * len(section.head) <= WIDTH


def _wide(section: Section) -> list[int]:
    """How wide each column is, letters."""
    return [max(map(len, column)) for column in zip(section.head, *section.rows, strict=True)]


def _block(title: str, lines: list[str]) -> str:
    wrapped = [textwrap.fill(line, WIDTH, initial_indent="  ", subsequent_indent="    ") for line in lines]
    return "\n".join([title, *wrapped])
