"""Studies of simulated engines in, the README's table of bands out: what was found and what was accused, by band."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from tests.analysis.study import BANDS, Counts, Study

LOW = ("dead", "weak")
DEAD, WEAK, HEALTHY = "dead", "to 60 %", "healthy"


def table(three: Study, once: Study, coarse_three: Study, coarse_once: Study) -> list[str]:
    """Lines of Markdown; per cent, with how many there were of each."""
    lines = [
        f"| per cent (of so many) | {' | '.join(BANDS)} | by the rule of thumb: {', '.join(BANDS)} |",
        "|---|" + "---|" * (len(BANDS) + 1),
    ]
    for name, study in (("three passes", three), ("one pass", once)):
        lines += [
            _line(f"{name}: dead cylinders found", study, [DEAD], LOW, "low"),
            _line(f"{name}: cylinders of up to 60 % found", study, [WEAK], LOW, "low"),
            _line(f"{name}: either called even", study, [DEAD, WEAK], ("even", "strong"), "not low"),
            _line(f"{name}: healthy ones called low", study, [HEALTHY], LOW, "low"),
        ]
    for name, study in (("three passes", coarse_three), ("one pass", coarse_once)):
        name = f"whole steps, little fuel, {name}"
        lines += [
            _line(f"{name}: cylinders of 30 to 60 % found", study, [WEAK], LOW, "low"),
            _line(f"{name}: of those called even", study, [WEAK], ("even", "strong"), "not low"),
            _line(f"{name}: healthy ones called low", study, [HEALTHY], LOW, "low"),
        ]
    return lines


def _line(what: str, study: Study, kinds: Sequence[str], called: Sequence[str], by_rule: str) -> str:
    def cells(counts: Counts, said: Sequence[str], show: Callable[[float, int], str]) -> list[str]:
        groups = ([f"{kind} {band}" for kind in kinds] for band in BANDS)
        return [show(counts.share(each, *said), sum(map(counts.all, each))) for each in groups]

    ours = cells(study.ours, called, lambda share, count: f"{percent(share)} ({count:,})")
    rule = cells(study.rule, [by_rule], lambda share, _: percent(share))
    return f"| {what} | {' | '.join(ours)} | {', '.join(rule)} |"


def percent(share: float) -> str:
    """A per cent as the README shows it: whole ones, small ones with two decimals."""
    return f"{share:.2f}" if 0 < share < 1 else f"{share:.1f}".removesuffix(".0")
