"""What stands beside a written number: what is known leaves it as it is, anything else has it asked about.

The sentences are our own (common practice of writing by hand, no source).
"""

from __future__ import annotations

import pytest

from journal.facts import Engine, JobFact, PartWanted, TroubleCode
from journal.wording import Context, Verdict, decide_text
from journal.wording.beside import told_plainly, understood_in_full
from journal.wording.cylinders import MOST_CYLINDERS
from journal.wording.near import Near, near

SIX = Context(engine=Engine(6, (1, 5, 3, 6, 2, 4)), next_cylinder=4)

CLEAN = [
    ("cylinder 4 cut 38", 38), ("(38)", 38), ("38%", 38), ("#4 38", 38), ("no.4 38", 38), ("38psi", 38), ("38st", 38),
    ("38 mm²", 38), ("38 mm3", 38), ("cyl4 38", 38), ("xyz4 38", 38), ("1,234", 1234), ("1,23", 1.23),
    ("37 1/2", 37.5), ("37½", 37.5), ("37 ¾", 37.75), ("4:38", 38), ("4=38", 38), ("4-5-38", 38), ("4-5-6", 4),
    ("spn 651/5", 651), ("38 , 39", 39), ("a * b 38", 38), ("-38", -38), ("baseline -38", -38),
    ("from 37 to 38", 38), ("rose 37 to 38", 38), ("dropped 37 to 38", 38),
]  # fmt: skip
DOUBTED = [
    ("over 38", 38), ("twice 38", 38), ("half of 38", 38), ("third of 38", 38), ("more than a 38", 38),
    ("38 or less", 38), ("38 squared", 38), ("38 and a bit", 38), ("38 or 39", 38), ("38 or 39", 39), ("38 was 39", 38),
    ("thirty eight or thirty nine", 38), ("thirty eight or thirty nine", 39), ("37 to 38", 38), ("38 - 39", 39),
    ("point 3 point 5", 0.3), ("cylinder to cut 38", 38), ("number to out", 2), ("to 38", 38),
    ("-38", 38), ("minus 38", 38), ("38xyz", 38), ("xyz4 38", 4), ("P0301", 301), ("4.5:38", 38), ("4:38", 4.38),
    ("651/5", 651), ("37 * 38", 38), ("* 38", 38), ("38 *", 38), ("38 -", 38), ("38²", 38), ("38 ++", 38),
]  # fmt: skip


@pytest.mark.parametrize(("text", "value"), CLEAN)
def test_a_number_beside_which_all_is_known_is_understood_in_full(text: str, value: float) -> None:
    assert understood_in_full(text, [value])


@pytest.mark.parametrize(("text", "value"), DOUBTED)
def test_a_number_beside_which_something_makes_another_of_it_is_not(text: str, value: float) -> None:
    assert not understood_in_full(text, [value])


@pytest.mark.parametrize("between", [":", " to ", " through "])
def test_the_first_of_two_numbers_may_be_a_cylinder_up_to_the_largest_engine(between: str) -> None:
    assert understood_in_full(f"{MOST_CYLINDERS}{between}38", [38])
    assert not understood_in_full(f"{MOST_CYLINDERS + 1}{between}38", [38])


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("over 38", "38"), ("cylinder 4 Over about 38", "cylinder 4 about 38"), ("nearly thirty eight", "thirty eight"),
        ("over the moon", "over the moon"), ("38 over", "38 over"),
    ],
)  # fmt: skip
def test_words_that_make_another_number_are_left_out_only_before_one(text: str, plain: str) -> None:
    assert told_plainly(text) == plain


@pytest.mark.parametrize(
    ("text", "how"),
    [
        ("the pump knocks", Near.NOTHING),
        ("the pump is leaking", Near.NOTE),
        ("the pump zibble is broken", Near.SAYING),
        ("the pump 38 is broken", Near.SAYING),
        ("broken is the pump", Near.SAYING),
        ("the pump reads 38 zibble", Near.SAYING),
        ("is the pump broken", Near.NOTHING),
        ("we will change the broken pump", Near.NOTHING),
        ("pump leaking", Near.NOTHING),
        ("cut four zibble", Near.LOST),
        ("cut four zibble zabble", Near.LOST),
        ("cut four zibble zabble zoo", Near.NOTHING),
        ("three four blue moon", Near.NOTHING),
    ],
)
def test_how_near_words_are_to_something_for_the_journal(text: str, how: Near) -> None:
    assert near(text) is how


def entered(text: str) -> list[object]:
    """What a typed text is taken as; nothing where it is asked about or let go."""
    return [d.meaning for d in decide_text(text, SIX) if d.verdict is Verdict.TAKE]


@pytest.mark.parametrize(
    ("text", "meaning"),
    [
        ("100 fmi 4", TroubleCode(100, 4)),
        ("spn 651 fmi 31", TroubleCode(651, 31)),
        ("want ninety nine injectors", PartWanted("injector", 99)),
        ("need an injector 1000", PartWanted("injector 1000")),
        ("1000 hours", JobFact("hours", "1000")),
    ],
)
def test_what_is_at_its_bound_is_taken(text: str, meaning: object) -> None:
    assert entered(text) == [meaning]


@pytest.mark.parametrize(
    "text",
    ["99 fmi 4", "spn 651 fmi 32", "spn 651 32", "want one hundred injectors", "need an injector 999"],
)
def test_what_is_past_its_bound_is_not(text: str) -> None:
    assert entered(text) == []


def test_a_code_without_a_word_for_its_mode_is_asked_about_and_one_with_a_mode_there_is_not_is_no_code() -> None:
    """Five bits hold 0 to 31 (SAE J1939-73, from memory)."""
    (asked,) = decide_text("spn 651 31", SIX)
    assert asked.verdict is Verdict.ASK and asked.meaning == TroubleCode(651, 31)
    assert all(not isinstance(d.meaning, TroubleCode) for d in decide_text("spn 651 32", SIX))
