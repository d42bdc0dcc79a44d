"""Jobs drawn from the tables with the truth known, worked through by a policy until a part may be ordered."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from journal.analysis.causes.inference import Observation, Posterior, infer
from journal.analysis.causes.model import Model, build_model
from journal.analysis.causes.tables import CheckRow, Tables, tables
from journal.analysis.order.gate import fits, missing_checks, part_chance
from journal.analysis.order.next_check import allowed, done_for, worth_making
from journal.facts import Engine
from tests.causes.arrange import ENGINES

Place = tuple[str, int | None]
Policy = Callable[["Work", list[Place]], Place | None]

FIXED_ORDER = (
    "blow-by", "smoke", "oil", "relative compression", "overhead", "lash", "injector circuit test", "wiring",
    "connector", "injector resistance", "driver signal", "air test", "leak-down", "compression", "coolant",
    "fuel supply", "air in fuel", "pressure as desired", "injection pressure circuit", "injector return flow",
    "intake and exhaust", "port temperature", "lobe lift", "injector seat", "under load", "injection pressure",
    "same run again", "injector swap",
)  # fmt: skip
"""A checklist: blow-by, overhead, wiring, sealing under air first, then the rest; common practice, no source."""


@dataclass
class Work:
    """A job under way."""

    engine: Engine
    model: Model
    truth: list[str]
    """The true state of each low cylinder."""
    world: tuple[str | None, object]
    posterior: Posterior
    seen: list[Observation]
    done: dict[int | None, set[str]]
    minutes: float = 0.0


@dataclass(frozen=True)
class Outcome:
    """How a job ended."""

    minutes: float
    """Minutes of checks made."""
    opened: bool
    """Whether every low cylinder's gate opened."""
    right_part: bool
    """Whether each part then ready was the right one."""
    stated: tuple[tuple[float, bool], ...]
    """For each low cylinder at the end: the first cause's chance, and whether it is the true one."""


def draw(random_: random.Random, book: Tables) -> Work:
    """An engine with one low cylinder, or two in one job of six, and its truth drawn from the prior given that."""
    engine = ENGINES[random_.choice(sorted(ENGINES))]
    low = random_.sample(list(engine.numbers), 2 if random_.random() < 1 / 6 else 1)
    model = build_model(book, engine, low, list(engine.numbers))
    prior = infer(model, [])
    generator = np.random.default_rng(random_.getrandbits(32))
    t = int(generator.choice(len(model.worlds), p=prior.worlds))
    truth = [model.states[int(generator.choice(len(model.states), p=chances))] for chances in prior.state[0, t]]
    work = Work(engine, model, truth, model.worlds[t], prior, [], {c: set() for c in (None, *low)})
    for key in ("how low", "sum of shares", "how many"):
        check = book.checks[key]
        for place in low if check.of_cylinder else [None]:
            look(random_, book, work, (key, place), free=True)
    work.posterior = infer(model, work.seen)
    return work


def look(random_: random.Random, book: Tables, work: Work, place: Place, *, free: bool = False) -> None:
    """Make one check; its outcome is drawn as the tables have it."""
    key, cylinder = place
    check = book.checks[key]
    if cylinder is not None:
        outcome = _drawn(random_, check, work.truth[work.model.low.index(cylinder)])
    else:
        wide, shared = work.world
        covered = set(getattr(shared, "cylinders", ()))
        present = ["otherwise"]
        present += [wide] if wide in check.likelihood and wide is not None else []
        present += [shared.cause] if shared is not None and shared.cause in check.likelihood else []  # type: ignore[attr-defined]
        present += [
            state
            for c, state in zip(work.model.low, work.truth, strict=True)
            if c not in covered and book.causes[state].of_cylinder and state in check.likelihood
        ]
        outcome = max(_drawn(random_, check, cause) for cause in present)
    work.seen.append(Observation(key, (outcome,), cylinder))
    work.done[cylinder].add(key)
    if not free:
        work.minutes += check.minutes + book.next_check["setup_minutes"]


def _drawn(random_: random.Random, check: CheckRow, cause: str) -> int:
    return random_.choices(range(len(check.outcomes)), weights=list(check.given(cause)))[0]


def made(work: Work) -> dict[int | None, frozenset[str]]:
    """Checks made, by place, as the tool keeps them."""
    return {place: frozenset(keys | work.done[None]) for place, keys in work.done.items()}


def gates(book: Tables, work: Work) -> list[bool]:
    """Whether each low cylinder's first cause means a part whose gate is open."""
    found = []
    for n, cylinder in enumerate(work.model.low):
        chances = dict(zip(work.model.states, map(float, work.posterior.cylinders[n]), strict=True))
        row = book.causes[max(chances, key=lambda key: chances[key])]
        place = cylinder if row.of_cylinder else None
        if place is None:
            chances = work.posterior.engine
        done = done_for(work.posterior, made(work), row.key, place)
        missing = missing_checks(row, done, work.engine)
        found.append(not missing and part_chance(book, row.part, chances) >= book.gate["threshold"])
    return found


def possible(book: Tables, work: Work) -> list[Place]:
    """Every check that may be made now."""
    done = made(work)
    return [
        (check.key, place)
        for check in book.checks.values()
        if check.do and fits(check.key, work.engine)
        for place in (work.model.low if check.of_cylinder else (None,))
        if check.key not in done[place] and allowed(check, done[place])
    ]


def work_through(random_: random.Random, book: Tables, work: Work, policy: Policy) -> Outcome:
    """Checks made by a policy until every gate is open, or it proposes nothing."""
    while not all(opened := gates(book, work)):
        place = policy(work, possible(book, work))
        if place is None:
            break
        look(random_, book, work, place)
        work.posterior = infer(work.model, work.seen)
    states = work.model.states
    leaders = [states[int(chances.argmax())] for chances in work.posterior.cylinders]
    stated = tuple(
        (float(chances.max()), leader == truth)
        for chances, leader, truth in zip(work.posterior.cylinders, leaders, work.truth, strict=True)
    )
    parts = [book.causes[a].part == book.causes[b].part for a, b in zip(leaders, work.truth, strict=True)]
    return Outcome(work.minutes, all(opened), all(parts), stated)


def by_the_tool(book: Tables) -> Policy:
    """The check the tool proposes first; none when it says that further checks would not change the decision."""

    def policy(work: Work, places: list[Place]) -> Place | None:
        chosen, _ = worth_making(book, work.posterior, work.engine, made(work))
        return (chosen[0].check.key, chosen[0].cylinder) if chosen else None

    return policy


def by_list(order: Sequence[str] = FIXED_ORDER) -> Policy:
    """The first check on the list that may be made."""

    def policy(work: Work, places: list[Place]) -> Place | None:
        return min(places, key=lambda place: (order.index(place[0]), place[1] or 0), default=None)

    return policy


def by_chance(random_: random.Random) -> Policy:
    """Any check that may be made."""
    return lambda work, places: random_.choice(places) if places else None


def run_jobs(count: int, seed: int, policy_of: Callable[[Tables, random.Random], Policy]) -> list[Outcome]:
    """The same jobs for every policy that is given the same seed; what checks show is drawn anew."""
    book = tables()
    outcomes = []
    for number in range(count):
        random_ = random.Random(seed * 1_000_003 + number)
        work = draw(random_, book)
        outcomes.append(work_through(random_, book, work, policy_of(book, random_)))
    return outcomes
