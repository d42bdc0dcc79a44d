"""Trouble codes in; their words, and what they say of an injector's circuit or of what all cylinders share, out."""

from __future__ import annotations

from journal.facts import TroubleCode

FAILURE_MODES: tuple[str, ...] = (
    "above the normal range, most severe",
    "below the normal range, most severe",
    "erratic, intermittent or incorrect",
    "voltage above normal, or shorted to a high source",
    "voltage below normal, or shorted to a low source",
    "current below normal, or open circuit",
    "current above normal, or grounded circuit",
    "mechanical system not responding, or out of adjustment",
    "abnormal frequency, pulse width or period",
    "abnormal update rate",
    "abnormal rate of change",
    "root cause not known",
    "bad intelligent device or component",
    "out of calibration",
    "special instructions",
    "above the normal range, least severe",
    "above the normal range, moderately severe",
    "below the normal range, least severe",
    "below the normal range, moderately severe",
    "received network data in error",
    "drifted high",
    "drifted low",
    *("reserved",) * 9,
    "condition exists",
)
"""What each failure mode identifier means, 0 to 31: after SAE J1939-73's list, shortened, from memory."""

_FIRST_INJECTOR, _LAST_INJECTOR = 651, 670
"""SPN of injector 1 and of injector 20 in SAE J1939, from memory."""

_ELECTRICAL = frozenset({3, 4, 5, 6})
_MECHANICAL = frozenset({7})
_TOO_LOW = frozenset({1, 17, 18})

_ENGINE_WIDE: dict[int, tuple[str, str]] = {
    94: ("fuel delivery pressure", "fuel supply low"),
    157: ("injector rail pressure", "injection pressure low"),
    164: ("injection control pressure", "injection pressure low"),
    98: ("engine oil level", "oil low"),
    100: ("engine oil pressure", "oil low"),
    102: ("boost pressure", "boost low"),
}
"""SPNs of what all cylinders share, in SAE J1939, from memory, and the outcome of a value below normal."""


def injector_of(code: TroubleCode) -> int | None:
    """The cylinder whose injector a code is about; none when it is about something else."""
    return code.spn - _FIRST_INJECTOR + 1 if _FIRST_INJECTOR <= code.spn <= _LAST_INJECTOR else None


def injector_outcome(code: TroubleCode) -> str | None:
    """`electrical` or `mechanical`, the outcomes of an injector's code; none when it tells neither."""
    if code.fmi in _ELECTRICAL:
        return "electrical"
    return "mechanical" if code.fmi in _MECHANICAL else None


def engine_outcome(code: TroubleCode) -> str | None:
    """What a code says of what all cylinders share; none when nothing."""
    return _ENGINE_WIDE[code.spn][1] if code.spn in _ENGINE_WIDE and code.fmi in _TOO_LOW else None


def code_text(code: TroubleCode) -> str:
    """A code with its meaning, as far as it is known here, e.g. `SPN 653 FMI 5: injector 3, current below normal …`."""
    cylinder = injector_of(code)
    what = f"injector {cylinder}, " if cylinder is not None else ""
    if code.spn in _ENGINE_WIDE:
        what = f"{_ENGINE_WIDE[code.spn][0]}, "
    return f"SPN {code.spn} FMI {code.fmi}: {what}{FAILURE_MODES[code.fmi]}"
