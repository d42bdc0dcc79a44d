"""Text that anybody may have written in; out, text that is safe to show, as no sign in it steers what shows it.

An escape sequence in a name can clear a terminal, write a line that never was, or set a window's title; a sign that
turns the direction of writing about can make `gpj.exe` of a file look like a photo.
"""

from __future__ import annotations

import re

STEERING = "\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff"
"""Control characters of ISO/IEC 6429 (C0, DEL, C1), Unicode's separators of lines and paragraphs, the embeddings,
overrides and isolates of its bidirectional algorithm (UAX #9), and halves of surrogate pairs, which are no letters."""

UNSHOWN = "\N{REPLACEMENT CHARACTER}"
"""What stands for such a sign, so that it is seen that there was one."""

_STEERING = re.compile(f"[{STEERING}]")
_SPACES = frozenset("\t\n\v\f\r\x85\u2028\u2029")


def lines(text: str) -> str:
    """The text with its ends of lines kept; tabs and the like as spaces, any other steering sign as `UNSHOWN`."""
    return _STEERING.sub(_kept, text.replace("\r\n", "\n"))


def line(text: str) -> str:
    """The same on one line."""
    return lines(text).replace("\n", " ")


def escaped(json_text: str) -> str:
    """JSON text that says the same without any steering sign but its ends of lines (RFC 8259, section 7)."""
    return _STEERING.sub(lambda found: found[0] if found[0] == "\n" else f"\\u{ord(found[0]):04x}", json_text)


def _kept(found: re.Match[str]) -> str:
    sign = found[0]
    return sign if sign == "\n" else " " if sign in _SPACES else UNSHOWN
