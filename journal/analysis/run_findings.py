"""One run to what it says: shares with intervals, standings, the sum, and what is odd about it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from journal.analysis.contributions import FORMULAS, Worth, worth
from journal.analysis.display import Array, coverage_factor
from journal.analysis.findings import Contribution, Level, Remark, RunFinding, Standing, Suspect
from journal.analysis.readings import Method, Taken, take
from journal.analysis.repeats import without_strays
from journal.analysis.settings import Settings
from journal.analysis.standings import Verdict, standings
from journal.analysis.steadiness import speed_held, unsteady
from journal.analysis.sums import check_sum
from journal.facts import Engine, RunKind
from journal.record.job import Run


def find_run(run: Run, engine: Engine, settings: Settings) -> RunFinding:
    """What one run says."""
    taken = take((run,), engine)
    taken, strays, torn = without_strays(taken, settings)
    done = worth(taken, settings)
    remarks = [*taken.remarks, *strays, *unsteady(run, taken, settings)]
    cut = {c.cylinder for c in taken.cuts}
    found = RunFinding(
        run=run.id,
        number=run.number,
        title=title_of(run),
        formula=FORMULAS[taken.method] if taken.method is not None else "",
        contributions=(),
        missing=tuple(c for c in taken.live if c not in cut),
        total=None,
        total_low=None,
        total_high=None,
        trusted=taken.sound,
    )
    if done is None:
        return replace(found, remarks=(*remarks, *_why_nothing(taken)))
    verdict = standings(done, taken, settings, torn)
    found = replace(found, contributions=_contributions(taken, done, verdict, engine))
    if not found.missing:
        total, u_total = _total(taken, done)
        said, suspects, fits = check_sum(taken, done, total, u_total, settings, speed_held=speed_held(run, settings))
        remarks += said
        found = replace(
            found,
            total=total,
            total_low=total - 1.96 * u_total,
            total_high=total + 1.96 * u_total,
            trusted=found.trusted and fits,
            suspects=suspects,
            contributions=_doubted(found.contributions, suspects),
        )
        if taken.method == Method.BRAKE:
            remarks.append(_efficiency(done, found.trusted))
    if done.solved:
        remarks.append(
            Remark(
                Level.REMARK,
                f"no baseline was said: {done.baseline:.3g} {taken.unit} is what makes the shares add up to one, so "
                "the sum cannot check the readings",
            )
        )
    if verdict.half_low:
        remarks.append(_half_low(verdict))
    return replace(found, remarks=tuple(remarks), half_low=verdict.half_low)


def title_of(run: Run) -> str:
    """Kind and conditions in words."""
    start = run.start
    words = [
        {RunKind.IDLE: "Idle", RunKind.HALF_ENGINE: "Half engine", RunKind.SCANNER_RESULT: "Scanner's own test"}[
            start.run
        ]
    ]
    if start.held_out:
        words.append(" ".join(map(str, sorted(start.held_out))) + " held out")
    if start.pressure is not None:
        words.append(f"{start.pressure} injection pressure")
    if start.pressure_value is not None:
        words.append(f"injection pressure {start.pressure_value:g} {start.pressure_unit}")
    if start.after_repair:
        words.append("after the repair")
    if start.repeat:
        words.append("repeated")
    return ", ".join(words)


def _contributions(taken: Taken, done: Worth, verdict: Verdict, engine: Engine) -> tuple[Contribution, ...]:
    shares, cov = _shares(taken, done)
    dead = {c for c, stand in verdict.stands.items() if stand.standing == Standing.DEAD}
    after = _after(dead, taken.live, engine)
    of_baselines = tuple(b.entry for b in taken.baselines)
    entries: dict[int | None, list[str]] = {}
    for cut in taken.cuts:
        entries.setdefault(cut.cylinder, []).append(cut.entry)
    variance, of_pull = cov.diagonal().tolist(), done.covariance.diagonal().tolist()
    out = []
    for i, cylinder in enumerate(done.cylinders):
        stand = verdict.stands[cylinder]
        u = math.sqrt(max(variance[i], 0.0))
        changing = max(of_pull[i] - float(done.fixed[i]), 1e-30)
        freedom = done.freedom * (of_pull[i] / changing) ** 2
        reach = coverage_factor(freedom) * u
        why = stand.why
        marked = cylinder in after and stand.standing in (Standing.WEAK, Standing.UNCLEAR)
        if marked:
            why += "; it fires right after a dead one, which can make it read low"
        out.append(
            Contribution(
                cylinder=cylinder,
                share=float(shares[i]),
                low=float(shares[i]) - reach,
                high=float(shares[i]) + reach,
                strength=stand.strength,
                standing=stand.standing,
                why=why,
                repeats_needed=stand.repeats_needed,
                strength_u=stand.uncertainty,
                after_dead=cylinder in after,
                entries=(*entries[cylinder], *of_baselines),
            )
        )
    return tuple(out)


def _doubted(contributions: tuple[Contribution, ...], suspects: tuple[Suspect, ...]) -> tuple[Contribution, ...]:
    """A cylinder whose own reading makes the sum wrong is not judged by it."""
    doubted = {s.cylinder for s in suspects}
    why = "the shares only add up if its reading was another: read it again"
    return tuple(
        replace(c, standing=Standing.UNCLEAR, why=why, repeats_needed=2) if c.cylinder in doubted else c
        for c in contributions
    )


def _after(dead: set[int], live: tuple[int, ...], engine: Engine) -> set[int]:
    order = [c for c in engine.firing_order if c in live]
    return {c for before, c in zip(order[-1:] + order[:-1], order, strict=True) if before in dead and c not in dead}


def _shares(taken: Taken, done: Worth) -> tuple[Array, Array]:
    """Shares with covariance; a drop becomes a share of the sum of drops, scaled up when some cylinders lack."""
    if taken.method in (Method.FUEL, Method.FUEL_RATE):
        return done.pull, done.covariance
    m, n = len(done.pull), len(taken.live)
    total = float(done.pull.sum()) * n / m
    if total <= 0:
        return np.zeros(m), np.zeros((m, m))
    share = done.pull / total
    slope = (np.eye(m) - np.outer(share, np.full(m, n / m))) / total
    return share, slope @ done.covariance @ slope.T


def _total(taken: Taken, done: Worth) -> tuple[float, float]:
    shares, cov = _shares(taken, done)
    return float(shares.sum()), math.sqrt(max(float(cov.sum()), 0.0))


def mechanical_efficiency(done: Worth) -> float:
    """Brake over indicated from a complete Morse test: B / sum(B - Bi), 0 when the drops do not add up to anything."""
    indicated = float(done.pull.sum())
    return done.baseline / indicated if indicated > 0 else 0.0


def _efficiency(done: Worth, trusted: bool) -> Remark:
    efficiency = mechanical_efficiency(done)
    if trusted and 0.0 < efficiency <= 1.0:
        return Remark(Level.REMARK, f"mechanical efficiency by these readings {100 * efficiency:.1f} %")
    return Remark(
        Level.WARNING,
        f"brake over indicated comes to {100 * efficiency:.0f} %, which no engine can do: the speed was not held or a "
        "reading was misheard",
    )


def _why_nothing(taken: Taken) -> list[Remark]:
    if taken.method is None:
        return []
    if not taken.cuts and not taken.baselines:
        return [Remark(Level.REMARK, "no readings yet")]
    if not taken.cuts:
        return [Remark(Level.REMARK, "no cylinder has been cut yet")]
    if len(taken.live) < 2:
        return [Remark(Level.WARNING, "a single live cylinder carries everything: there is nothing to compare it with")]
    if not taken.baselines:
        return [Remark(Level.WARNING, "no baseline: say what the display shows with no further cylinder cut")]
    return [Remark(Level.WARNING, "these readings cannot belong together: take the run again")]


def _half_low(verdict: Verdict) -> Remark:
    words = " ".join(map(str, verdict.half_low))
    return Remark(
        Level.WARNING,
        f"half the live cylinders or more ({words}) pull less than the rest: comparing cylinders cannot judge that; "
        "look at what is common to all first: fuel supply, injection pressure, oil, air",
    )
