"""What stands exactly at a threshold of the tables has reached it; what falls short by the least has not.

The thresholds are set to what this very job comes to, as a shop may set its own.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from journal.analysis import Findings, diagnose
from journal.analysis.between.compare import compare
from journal.analysis.causes import ranked
from journal.analysis.causes.evidence import gather
from journal.analysis.causes.inference import Posterior, infer, predict
from journal.analysis.causes.model import build_model
from journal.analysis.causes.tables import CheckRow, Vector, tables
from journal.analysis.causes.verdict import headline, verdict
from journal.analysis.findings import Cause, Evidence, Gate, Standing
from journal.analysis.order import next_check
from journal.analysis.order.next_check import choices, worth_making
from journal.analysis.run.find import find_runs
from journal.analysis.settings import default_settings
from journal.analysis.words import STRONG
from journal.facts import Body
from tests.causes.arrange import ENGINES, check_of, job_of, run_of

SIX = ENGINES["six"]
JOB: list[Body] = [*run_of(SIX, (1, 1, 0, 1, 1, 1)), check_of("wiring sound 3"), check_of("blow-by light")]
BOOK = tables()


def found(**gate: float) -> Findings:
    """What is found of the job where the gate's figures are these."""
    return diagnose(job_of(JOB, SIX), using=replace(BOOK, gate={**BOOK.gate, **gate}))


def just_more(value: float) -> float:
    return math.nextafter(value, 1.0)


def test_a_part_that_stands_at_the_threshold_has_reached_it_for_the_gate_and_for_the_next_check() -> None:
    top = found().cylinders[0].causes[0]
    assert top.gate is not None and top.gate.missing
    stands = top.gate.chance
    assert stands > top.probability, "several causes mean the part"
    reached, short = found(threshold=stands), found(threshold=just_more(stands))
    for findings, said in ((reached, False), (short, True)):
        gate = findings.cylinders[0].causes[0].gate
        assert gate is not None
        assert any("is wanted before ordering" in missing for missing in gate.missing) is said
    assert reached.next_check is not None and short.next_check is not None
    assert reached.next_check.subject == "overhead" and reached.runners_up == (), "only what the gate still wants"
    assert short.next_check.subject == "injector circuit test" and len(short.runners_up) == 2, "what tells most"


def test_a_check_that_tells_just_what_is_worth_asking_is_asked_for_and_one_that_tells_less_is_not() -> None:
    def subjects(worth: float) -> set[str]:
        book = replace(BOOK, next_check={**BOOK.next_check, "worth_asking": worth})
        findings = diagnose(job_of(JOB, SIX), using=book)
        assert (findings.next_check is None) is (findings.why_no_check != "")
        return {check.subject for check in (findings.next_check, *findings.runners_up) if check is not None}

    assert len(subjects(0.0)) == 3
    assert subjects(10.0) == set()
    job = job_of(JOB, SIX)
    book = replace(BOOK, next_check={**BOOK.next_check, "worth_asking": 0.0})
    runs = {found.run: found for found in find_runs(job.runs, SIX, default_settings(), {})}
    between = compare(job, tuple(runs[run.id] for run in job.runs), default_settings(), ())
    items = gather(book, job, tuple(runs.values()), between)
    posterior = infer(build_model(book, SIX, (3,), (1, 2, 3, 4, 5, 6)), [item.observation for item in items.items])
    done = {None: frozenset({"blow-by"}), 3: frozenset({"wiring", "blow-by"})}
    most = max(choices(book, posterior, SIX, done), key=lambda choice: choice.bits)
    for worth, chosen in ((most.bits, [most]), (just_more(most.bits), [])):
        book = replace(BOOK, next_check={**BOOK.next_check, "worth_asking": worth})
        assert worth_making(book, posterior, SIX, done)[0] == chosen


def test_of_two_checks_worth_as_much_but_for_the_order_of_adding_up_the_lower_cylinders_comes_first(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    posterior = infer(build_model(BOOK, SIX, (3, 5), (1, 2, 3, 4, 5, 6)), [])
    done: dict[int | None, frozenset[str]] = dict.fromkeys((None, 3, 5), frozenset())

    def order(more: float) -> list[int | None]:
        """The cylinders of one check, where another one's is worth a little more."""

        def predicted(of: Posterior, check: CheckRow, cylinder: int | None) -> tuple[Vector, Vector]:
            chance, then = predict(of, check, cylinder)
            return chance * (1 - more * (cylinder == 5)), then

        monkeypatch.setattr(next_check, "predict", predicted)
        return [choice.cylinder for choice in choices(BOOK, posterior, SIX, done) if choice.check.key == "wiring"]

    assert order(0.0) == order(1e-14) == [3, 5]
    assert order(1e-3) == [5, 3]


def cause(key: str, probability: float, gate: Gate | None = None, *evidence: Evidence) -> Cause:
    return Cause(key, f"the {key}", 3, probability, evidence=evidence, gate=gate)


SURE, RIVAL = BOOK.gate["threshold"], BOOK.gate["rival"]


@pytest.mark.parametrize(
    ("causes", "said"),
    [
        (
            [cause("wiring", 0.49), cause("valve-train", 0.4), cause("camshaft", 0.06), cause("driver", 0.05)],
            "Cylinder 3 is dead; no one cause stands out yet: the wiring (49 %), the valve-train (40 %) or the "
            "camshaft (6 %).",
        ),
        (
            [cause("wiring", 0.5), cause("valve-train", 0.4), cause("camshaft", RIVAL), cause("driver", RIVAL)],
            "Cylinder 3 is dead; likeliest is the wiring, 50 %; still possible: the valve-train (40 %) or the camshaft "
            "(5 %).",
        ),
        (
            [cause("wiring", 0.84), cause("valve-train", 0.049), cause("camshaft", 0.04)],
            "Cylinder 3 is dead; likeliest is the wiring, 84 %.",
        ),
        ([cause("wiring", SURE), cause("injector", 0.15)], "Cylinder 3 is dead: the wiring, 85 %."),
    ],
    ids=["below a half", "a half", "no rivals", "sure"],
)
def test_how_sure_the_verdict_is_said_to_be(causes: list[Cause], said: str) -> None:
    assert verdict(BOOK, 3, Standing.DEAD, causes) == said


@pytest.mark.parametrize(
    ("top", "injector", "solenoid", "said"),
    [
        (SURE, 0.06, 0.04, True),
        (SURE, 0.06, 0.05, False),
        (SURE - 0.01, 0.06, 0.04, False),
    ],
    ids=["just not indicated", "indicated", "no other is sure"],
)
def test_the_injector_is_not_indicated_once_another_is_sure(
    top: float, injector: float, solenoid: float, said: bool
) -> None:
    against = [Evidence(f"e{n}", factor, (), what) for n, (factor, what) in enumerate(
        [(0.5, "wiring open"), (1.0, "smoke"), (0.9, "sound"), (0.2, "air")])]  # fmt: skip
    causes = [cause("wiring", top), cause("injector", injector, None, *against), cause("solenoid", solenoid)]
    sentence = " The injector is not indicated (10 %): wiring open and sound."
    assert verdict(BOOK, 3, Standing.DEAD, causes).endswith(sentence) is said


@pytest.mark.parametrize(
    ("gate", "origin", "past", "said"),
    [
        (Gate(True, "harness", chance=0.9), None, False, " Ready to order: harness."),
        (
            Gate(True, "harness", chance=0.95), None, False,
            " Ready to order: harness, which is the part at fault with 95 %, by any of its causes.",
        ),
        (Gate(True, "harness", chance=0.9), None, True, ""),
        (
            Gate(True, "injector", chance=0.9), 5, False,
            " The miss came with its injector from cylinder 5. Ready to order: injector, in place of the one that sits "
            "in cylinder 3 now.",
        ),
        (
            Gate(True, "harness", chance=0.9), 5, False,
            " The miss came with its injector from cylinder 5. Ready to order: harness.",
        ),
        (
            Gate(False, "harness", ("overhead", "air test"), "no time", 0.9), None, False,
            " Ordered against missing checks; reason given: no time.",
        ),
        (
            Gate(False, "harness", ("overhead", "air test"), "", 0.9), None, False,
            " Not ready to order harness; missing: overhead and air test.",
        ),
    ],
)  # fmt: skip
def test_what_the_verdict_says_of_the_part(gate: Gate, origin: int | None, past: bool, said: str) -> None:
    start = "Before the repair cylinder 3 was dead" if past else "Cylinder 3 is dead"
    causes = [cause("wiring", 0.9, gate), cause("injector", 0.2)]
    assert verdict(BOOK, 3, Standing.DEAD, causes, past=past, origin=origin) == f"{start}: the wiring, 90 %.{said}"


def test_where_no_cause_stands_out_it_is_said_where_the_miss_came_from() -> None:
    told = verdict(BOOK, 3, Standing.WEAK, [cause("wiring", 0.4)], origin=5)
    assert told.endswith("the wiring (40 %). The miss came with its injector from cylinder 5.")


def test_an_engine_without_a_low_cylinder_has_its_likeliest_cause_named_from_a_half_on() -> None:
    said = headline(BOOK, "", [], [cause("fuel supply", 0.5)], [1, 2, 3])
    assert said == "No cylinder is low; likeliest for the whole engine: the fuel supply (50 %)."
    none = "None of the 3 cylinders read so far is shown to pull less than its peers."
    assert headline(BOOK, "", [], [cause("fuel supply", 0.49)], [1, 2, 3]) == none
    assert headline(BOOK, "", [], [], [1, 2, 3]) == none
    assert headline(BOOK, "Mended.", [], [], [1, 2, 3]) == "Mended."


@pytest.mark.parametrize(
    ("favour", "against", "said"),
    [(STRONG, 1 / STRONG, True), (math.nextafter(STRONG, 0.0), 0.1, False), (9.0, just_more(1 / STRONG), False)],
)
def test_results_are_at_odds_where_both_are_strong(favour: float, against: float, said: bool) -> None:
    """Strong is what makes a cause so many times likelier, or less likely, or more."""
    results = [Evidence("e1", favour, (), "wiring open"), Evidence("e2", against, (), "air good")]
    told = ranked._at_odds(cause("wiring", 0.9, None, *results))
    assert told == (("wiring open for the wiring, but air good against it; make sure of both",) if said else ())
