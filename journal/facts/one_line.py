"""Names of people, machines and parts in; each is one line, so that none can pass for a line of the journal's own."""

from __future__ import annotations

import unicodedata

from journal.errors import BadInput

_BREAKS = {"Cc", "Zl", "Zp"}
"""Control characters, separators of lines and of paragraphs (Unicode's general categories)."""


def check_one_line(what: str, text: str) -> None:
    """Refuse a name that is no single line; `BadInput`."""
    if any(map(_breaks, text)):
        raise BadInput(f"{what}: give one line, without line breaks, tabs or control characters")


def one_line(text: str) -> str:
    """A name from elsewhere as one line: a space stands for each sign that would break it."""
    return "".join(" " if _breaks(sign) else sign for sign in text)


def is_seen(text: str) -> bool:
    """Whether anything of a name is seen: a letter, a digit, a sign; spaces and marks of direction alone are not."""
    return any(unicodedata.category(sign)[0] in "LNPS" for sign in text)


def _breaks(sign: str) -> bool:
    return unicodedata.category(sign) in _BREAKS
