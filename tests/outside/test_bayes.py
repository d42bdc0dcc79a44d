"""Inference against an independent library on the same tables, and against published worked examples of Bayes' rule."""

from __future__ import annotations

import itertools
import random
from typing import Any

import pytest
from scipy.stats import entropy

from journal.analysis.causes.inference import Observation, infer, predict
from journal.analysis.causes.model import build_model, shared_faults
from journal.analysis.causes.tables import Tables, parse_tables, tables
from journal.analysis.order.next_check import choices
from journal.facts import Engine
from tests.causes.arrange import ENGINES

TWO_CAUSES = """
[model]
fault_rate = 1.0
shared_reach = 0.9
unexplained = 1.0
[next_check]
[gate]
[cautions]
[base_rates]
"{injection}" = {{ one = {one}, rest = {rest} }}
[engine_rates]
"{injection}" = {{}}
[causes.one]
name = "one"
of = "cylinder"
meaning = ""
part = ""
cautions = []
needs = []
[causes.rest]
name = "rest"
of = "cylinder"
meaning = ""
part = ""
cautions = []
needs = []
"""
ONE_CHECK = """
[seen]
do = ""
tells = ""
scope = "{scope}"
outcomes = ["no", "yes"]
[seen.likelihood]
one = [{miss}, {hit}]
otherwise = [{quiet}, {false}]
"""


def posterior_of_one(prior: float, hit: float, false: float) -> float:
    """P(one | seen yes) by the tool, for one low cylinder with two possible causes."""
    engine = Engine(4)
    causes = TWO_CAUSES.format(injection=engine.injection, one=prior, rest=1 - prior).replace("[[shared]]", "")
    checks = ONE_CHECK.format(scope="cylinder", hit=hit, miss=1 - hit, false=false, quiet=1 - false)
    book = parse_tables(causes + "\n", checks)
    model = build_model(book, engine, [1], [1, 2, 3, 4])
    return float(infer(model, [Observation("seen", (1,), 1)]).cylinders[0, 0])


def test_the_mammography_problem_comes_out_as_published() -> None:
    """Eddy (1982), in Kahneman, Slovic and Tversky, Judgment under Uncertainty, ch. 18: prevalence 1 %, hit rate about
    80 %, false alarms 9.6 %: between 7 and 8 % of the positive are ill (7.8 %)."""
    assert posterior_of_one(0.01, 0.80, 0.096) == pytest.approx(0.0776, abs=5e-5)


def test_the_taxicab_problem_comes_out_as_published() -> None:
    """Tversky and Kahneman (1982), same book, ch. 10: 15 % of cabs are blue, the witness is right 80 % of the time:
    the cab he called blue was blue with probability 41 %."""
    assert posterior_of_one(0.15, 0.80, 0.20) == pytest.approx(0.41, abs=0.005)


def network(book: Tables, engine: Engine, low: list[int], tested: list[int], seen: list[Observation]) -> Any:
    """The same model built from the tables as an ordinary Bayesian network, node by node."""
    gum = pytest.importorskip("pyagrum", reason="pyagrum is not installed: no independent check of the inference")
    net = gum.BayesNet()
    own = [k for k in book.cylinder_causes if book.base_rates[engine.injection][k] > 0]
    wides = [k for k in book.engine_causes if book.engine_rates[engine.injection][k] > 0]
    rates = book.engine_rates[engine.injection]
    groups = shared_faults(book, engine, low)
    reach_shared = book.model["shared_reach"]

    def add(name: str, labels: list[str]) -> Any:
        return net.add(gum.LabelizedVariable(name, name, labels))

    # Labels are numbered: a label may not hold every character a cause's key may.
    add("W", ["none", *wides])
    net.cpt("W")[:] = [(1 - sum(rates[k] for k in wides)) * (1 if low else book.model["unexplained"])] + [
        rates[k] for k in wides
    ]
    net.cpt("W").normalize()
    add("S", ["none", *(f"s{n}" for n in range(len(groups)))])
    net.cpt("S")[:] = [1 - sum(g.rate for g in groups), *(g.rate for g in groups)]
    weights = book.base_rates[engine.injection]
    total = sum(weights[k] for k in own)
    states = [*own, *wides, "fine"]
    for cylinder in low:
        z = f"Z{cylinder}"
        add(z, states)
        net.addArc("W", z)
        net.addArc("S", z)
        for (w, wide), s in itertools.product(enumerate(["none", *wides]), range(len(groups) + 1)):
            chances = dict.fromkeys(states, 0.0)
            if s and cylinder in groups[s - 1].cylinders:
                chances[groups[s - 1].cause] = reach_shared
            else:
                for key in own:
                    chances[key] = book.model["fault_rate"] * weights[key] / total
                if wide != "none":
                    chances[wide] = book.causes[wide].reach
            chances["fine"] = 1 - sum(chances.values())
            net.cpt(z)[{"W": w, "S": s}] = [chances[k] for k in states]
        add(f"L{cylinder}", ["no", "yes"])
        net.addArc(z, f"L{cylinder}")
        for k, key in enumerate(states):
            net.cpt(f"L{cylinder}")[{z: k}] = [1, 0] if key == "fine" else [0, 1]
    for cylinder in [c for c in tested if c not in low]:
        e = f"E{cylinder}"
        add(e, ["low", "even"])
        net.addArc("W", e)
        net.addArc("S", e)
        for (w, wide), s in itertools.product(enumerate(["none", *wides]), range(len(groups) + 1)):
            even = 1.0
            if wide != "none":
                even *= 1 - book.causes[wide].reach
            if s and cylinder in groups[s - 1].cylinders:
                even *= 1 - reach_shared
            net.cpt(e)[{"W": w, "S": s}] = [1 - even, even]
    for number, observation in enumerate(seen):
        check = book.checks[observation.check]
        outcomes = [f"o{o}" for o in range(len(check.outcomes))]
        if observation.cylinder is not None:
            add(f"X{number}", outcomes)
            z = f"Z{observation.cylinder}"
            net.addArc(z, f"X{number}")
            for k, key in enumerate(states):
                net.cpt(f"X{number}")[{z: k}] = list(check.given(key))
            continue
        # An engine-wide result: what each thing alone would show, then the largest of them, two at a time.
        nothing = [1.0] + [0.0] * (len(outcomes) - 1)
        parts = []
        add(f"X{number}leak", outcomes)
        net.cpt(f"X{number}leak")[:] = list(check.likelihood["otherwise"])
        parts.append(f"X{number}leak")
        add(f"X{number}W", outcomes)
        net.addArc("W", f"X{number}W")
        for w, wide in enumerate(["none", *wides]):
            net.cpt(f"X{number}W")[{"W": w}] = list(check.likelihood.get(wide, nothing))
        parts.append(f"X{number}W")
        add(f"X{number}S", outcomes)
        net.addArc("S", f"X{number}S")
        for s in range(len(groups) + 1):
            row = check.likelihood.get(groups[s - 1].cause, nothing) if s else nothing
            net.cpt(f"X{number}S")[{"S": s}] = list(row)
        parts.append(f"X{number}S")
        for cylinder in low:
            x, z = f"X{number}Z{cylinder}", f"Z{cylinder}"
            add(x, outcomes)
            net.addArc(z, x)
            net.addArc("S", x)
            for (k, key), s in itertools.product(enumerate(states), range(len(groups) + 1)):
                covered = bool(s) and cylinder in groups[s - 1].cylinders
                row = nothing if covered or key not in own else check.likelihood.get(key, nothing)
                net.cpt(x)[{z: k, "S": s}] = list(row)
            parts.append(x)
        so_far = parts[0]
        for place, part in enumerate(parts[1:]):
            name = f"X{number}" if place == len(parts) - 2 else f"X{number}m{place}"
            add(name, outcomes)
            net.addArc(so_far, name)
            net.addArc(part, name)
            for a, b in itertools.product(range(len(outcomes)), repeat=2):
                largest = [0.0] * len(outcomes)
                largest[max(a, b)] = 1.0
                net.cpt(name)[{so_far: a, part: b}] = largest
            so_far = name
    evidence: dict[str, Any] = {f"L{c}": "yes" for c in low} | {f"E{c}": "even" for c in tested if c not in low}
    for number, observation in enumerate(seen):
        size = len(book.checks[observation.check].outcomes)
        evidence[f"X{number}"] = [1.0 if o in observation.outcomes else 0.0 for o in range(size)]
    engine_of = gum.LazyPropagation(net)
    engine_of.setEvidence(evidence)
    engine_of.makeInference()
    return engine_of, own, wides


def random_case(random_: random.Random) -> tuple[Engine, list[int], list[int], list[Observation]]:
    """An engine with one to three low cylinders (now and then none) and a handful of results."""
    book = tables()
    engine = ENGINES[random_.choice(sorted(ENGINES))]
    low = random_.sample(list(engine.numbers), random_.choice([0, 1, 1, 1, 2, 2, 3]))
    tested = sorted({*low, *random_.sample(list(engine.numbers), random_.randint(0, engine.cylinders))})
    seen = []
    for check in random_.sample(list(book.checks.values()), random_.randint(0, 7)):
        places: list[int | None] = [None] if not check.of_cylinder else list(low)
        if check.of_cylinder and random_.random() < 0.2:
            places = [None]
        for place in places:
            first = random_.randrange(len(check.outcomes))
            last = first if random_.random() < 0.8 else random_.randrange(first, len(check.outcomes))
            seen.append(Observation(check.key, tuple(range(first, last + 1)), place))
    return engine, low, tested, seen


def test_five_hundred_random_sets_of_evidence_agree_with_pyagrum() -> None:
    """pyAgrum (an independent library, exact lazy propagation) on the same tables: every chance equal to 1e-9."""
    pytest.importorskip("pyagrum", reason="pyagrum is not installed: no independent check of the inference")
    random_ = random.Random(20261124)
    worst = 0.0
    for _ in range(500):
        engine, low, tested, seen = random_case(random_)
        inference, own, wides = network(tables(), engine, low, tested, seen)
        posterior = infer(build_model(tables(), engine, low, tested), seen)
        for n, cylinder in enumerate(low):
            other = inference.posterior(f"Z{cylinder}").tolist()[: len(own) + len(wides)]
            mine = posterior.cylinders[n]
            states = posterior.model.states
            for state, chance in zip([*own, *wides], other, strict=True):
                worst = max(worst, abs(chance - float(mine[states.index(state)])))
        other_wide = dict(zip(["none", *wides], inference.posterior("W").tolist(), strict=True))
        for key, chance in posterior.engine.items():
            worst = max(worst, abs(other_wide.get(key, 0.0) - chance))
        other_shared = inference.posterior("S").tolist()[1:]
        for mine_shared, chance in zip(posterior.shared.values(), other_shared, strict=True):
            worst = max(worst, abs(mine_shared - chance))
    assert worst < 1e-9


def unlooked(book: Tables, check: str, cylinder: int | None) -> Observation:
    """A check whose outcome is not known: a node without evidence."""
    return Observation(check, tuple(range(len(book.checks[check].outcomes))), cylinder)


def test_what_the_next_check_would_show_and_what_it_is_worth_agree_with_pyagrum() -> None:
    """The chance of every outcome, what would then be believed, and the expected information in bits (scipy's entropy).

    pyAgrum is told of the check as a node without evidence, and then of each outcome in turn.
    """
    pytest.importorskip("pyagrum", reason="pyagrum is not installed: no independent check of the inference")
    book, random_ = tables(), random.Random(20261126)
    worst = 0.0
    for _ in range(60):
        engine, low, tested, seen = random_case(random_)
        low = low or [random_.choice(list(engine.numbers))]
        seen = [each for each in seen if each.cylinder is None or each.cylinder in low]
        tested = sorted({*tested, *low})
        posterior = infer(build_model(book, engine, low, tested), seen)
        done = {place: frozenset[str]() for place in (None, *low)}
        worths = {(c.check.key, c.cylinder): c.bits for c in choices(book, posterior, engine, done)}
        for key, cylinder in random_.sample(sorted(worths, key=str), 2):
            mine, then = predict(posterior, book.checks[key], cylinder)
            inference, own, wides = network(book, engine, low, tested, [*seen, unlooked(book, key, cylinder)])
            chances = inference.posterior(f"X{len(seen)}").tolist()
            worst = max(worst, *(abs(a - float(b)) for a, b in zip(chances, mine, strict=True)))
            bits = sum(entropy(inference.posterior(f"Z{c}").tolist(), base=2) for c in low)
            for outcome, chance in enumerate(chances):
                if chance < 1e-9:
                    continue
                told, _, _ = network(book, engine, low, tested, [*seen, Observation(key, (outcome,), cylinder)])
                for n, c in enumerate(low):
                    theirs = told.posterior(f"Z{c}").tolist()
                    bits -= chance * entropy(theirs, base=2)
                    for state, p in zip([*own, *wides], theirs, strict=False):
                        worst = max(worst, abs(p - float(then[outcome, n][posterior.model.states.index(state)])))
            worst = max(worst, abs(bits - worths[key, cylinder]))
    assert worst < 1e-8
