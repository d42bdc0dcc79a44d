"""Findings to pictures: SVG text that reads in print without colour, each with a text alternative."""

from __future__ import annotations

from journal.analysis.between.judged import judged_runs
from journal.analysis.between.pressure import places, series_of
from journal.analysis.between.repair import repair_of
from journal.analysis.findings import Contribution, Findings, RunFinding
from journal.analysis.settings import default_settings
from journal.facts import Engine, RunKind
from journal.output.chart_compare import before_after_chart, comparison_chart, pressure_chart
from journal.output.chart_parts import bar, frame, heading, line, mark, whisker, word
from journal.record.job import Job

__all__ = ["before_after_chart", "charts_of", "comparison_chart", "comparison_charts", "pressure_chart", "run_chart"]

_LEFT, _RIGHT, _ROW = 46.0, 196.0, 24.0


def run_chart(run: RunFinding, engine: Engine) -> str:
    """The contributions of one run, a row for each cylinder of the engine, with 95 % intervals and standings."""
    by_cylinder = {c.cylinder: c for c in run.contributions}
    live = len(by_cylinder) + len(run.missing)
    even = 1 / live if live else 0.0
    most = max([c.high for c in run.contributions] + [1.3 * even, 0.05])
    body, high = heading(run.title)
    top = high + 32
    bottom = top + _ROW * engine.cylinders

    def at(share: float) -> float:
        return _LEFT + max(0.0, share) / most * (_RIGHT - _LEFT)

    if live:
        body += [
            line(at(even), top - 5, at(even), bottom, 1, "3 3", faint=True),
            word(at(even), top - 9, f"even share {100 * even:.0f} %", "middle"),
        ]
    body.append(line(_LEFT, top - 5, _LEFT, bottom, 1))
    for row, cylinder in enumerate(engine.numbers):
        middle = top + _ROW * row + _ROW / 2
        body.append(word(22, middle + 5, str(cylinder), "end", bold=True))
        found = by_cylinder.get(cylinder)
        if found is None:
            said = "no reading yet" if cylinder in run.missing else "held out"
            body.append(word(_LEFT + 6, middle + 5, said if live else "no reading"))
            continue
        body += [
            mark(35, middle, found.standing),
            bar(_LEFT, middle - 6, at(found.share) - _LEFT, 12, found.standing),
            whisker(at(found.low), at(found.high), middle),
            word(_RIGHT + 43, middle + 5, f"{_percent(found.share)}", "end"),
            word(_RIGHT + 49, middle + 5, found.standing.value),
        ]
    body.append(word(4, bottom + 17, _sum_words(run)))
    title = f"Run {run.number}: {run.title}"
    return frame(f"run-{run.number}-shares", title, _described(run), bottom + 26, body)


def charts_of(job: Job, findings: Findings) -> tuple[str, ...]:
    """Every picture a job's findings call for: its runs, then the comparisons."""
    judged = judged_runs(job, findings.runs)
    return (*(run_chart(j.finding, job.engine) for j in judged), *comparison_charts(job, findings))


def comparison_charts(job: Job, findings: Findings) -> tuple[str, ...]:
    """The pictures of several runs that have something to show: side by side, by injection pressure, after a repair."""
    judged, settings = judged_runs(job, findings.runs), default_settings()
    charts = []
    plain = [j for j in judged if not j.conditions.after_repair and j.plain]
    if len({j.conditions.kind is RunKind.HALF_ENGINE for j in plain}) == 2:
        charts.append(comparison_chart([j.finding for j in plain], job.engine))
    for series in series_of(judged, settings):
        points = [
            (j.conditions.pressure.words, place, j.finding) for j, place in zip(series, places(series), strict=True)
        ]
        charts.append(pressure_chart(points, job.engine))
    repair = repair_of(judged, settings)
    if repair is not None and repair.before is not None:
        charts.append(before_after_chart(repair.before.finding, repair.after.finding, job.engine))
    return tuple(charts)


def _percent(share: float) -> str:
    return f"{max(0.0, 100 * share):.0f} %"


def _sum_words(run: RunFinding) -> str:
    if run.total is None or run.total_low is None or run.total_high is None:
        return f"{len(run.missing)} still to be cut" if run.missing else ""
    reach = 50 * (run.total_high - run.total_low)
    return f"sum of shares {100 * run.total:.0f} %, give or take {reach:.0f} %"


def _described(run: RunFinding) -> str:
    said = [_one(c) for c in run.contributions]
    if run.missing:
        said.append("no reading yet: " + ", ".join(map(str, run.missing)))
    if run.total is not None:
        said.append(_sum_words(run))
    return "; ".join(said) + "." if said else "No readings yet."


def _one(c: Contribution) -> str:
    return (
        f"cylinder {c.cylinder} {c.standing.value}, share {_percent(c.share)} ({_percent(c.low)} to {_percent(c.high)})"
    )
