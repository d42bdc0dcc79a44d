"""The tables of causes and checks: complete, sound, and in words that can be said."""

from __future__ import annotations

from importlib.resources import files

import pytest

from journal.analysis.causes.codes import FAILURE_MODES, code_text
from journal.analysis.causes.inference import infer, predict
from journal.analysis.causes.model import build_model
from journal.analysis.causes.tables import parse_tables, tables
from journal.analysis.order.next_check import allowed
from journal.errors import BadInput
from journal.facts import LEAK_PLACES, OUTCOMES, PARTS, PER_CYLINDER, Check, RunStarted, Subject, TroubleCode
from journal.wording import Context, decide_text
from journal.wording.types import Verdict
from tests.causes.arrange import ENGINES

CHECKS = tables().checks


@pytest.mark.parametrize("cylinder", [None, 3])
def test_what_any_check_would_show_is_one_of_its_outcomes_and_leaves_every_cylinder_in_one_state(
    cylinder: int | None,
) -> None:
    model = build_model(tables(), ENGINES["common rail six"], (3, 5), (1, 2, 3, 4, 5, 6))
    posterior = infer(model, ())
    for check in CHECKS.values():
        if check.of_cylinder is (cylinder is not None):
            chance, then = predict(posterior, check, cylinder)
            assert chance.shape == (len(check.outcomes),) and chance.sum() == pytest.approx(1)
            assert then.shape == (len(check.outcomes), 2, len(model.states))
            assert then[chance > 0].sum(axis=2) == pytest.approx(1)


@pytest.mark.parametrize("subject", Subject)
def test_every_check_that_can_be_said_has_its_outcomes_in_the_tables(subject: Subject) -> None:
    row = CHECKS[subject]
    plain = set(OUTCOMES[subject]) - set(row.refine) - set(row.waits)
    assert set(row.waits) <= set(OUTCOMES[subject])
    assert plain <= set(row.outcomes)
    for outcome, details in row.refine.items():
        assert outcome in OUTCOMES[subject]
        assert set(details) <= {*PARTS, *LEAK_PLACES}
        assert set(details.values()) <= set(row.outcomes)
    assert row.minutes > 0 and row.do and row.tells and row.cautions
    assert row.of_cylinder or subject not in PER_CYLINDER


def test_every_damaged_part_and_every_place_air_leaks_to_has_an_outcome() -> None:
    assert set(CHECKS["overhead"].refine["damaged"]) == set(PARTS)
    assert set(CHECKS["air test"].refine["leaks"]) == set(LEAK_PLACES)


@pytest.mark.parametrize("key", [key for key, row in CHECKS.items() if row.do])
def test_the_way_to_say_a_result_is_understood(key: str) -> None:
    said = CHECKS[key].say.format(cylinder=3, others="4, 5 and 6")
    decisions = decide_text(said, Context(engine=ENGINES["six"]))
    assert [d.verdict for d in decisions] == [Verdict.TAKE]
    meaning = decisions[0].meaning
    if CHECKS[key].kind == "run":
        assert isinstance(meaning, RunStarted)
    else:
        assert isinstance(meaning, Check) and meaning.subject == key
        assert meaning.cylinder == (3 if CHECKS[key].of_cylinder else None)


def test_what_must_come_first_can_always_be_reached() -> None:
    made: frozenset[str] = frozenset()
    for _ in CHECKS:
        made |= {key for key, row in CHECKS.items() if allowed(row, made)}
    assert made == set(CHECKS)


def test_everything_a_gate_needs_is_a_check() -> None:
    for row in tables().causes.values():
        for group in row.needs:
            assert all(CHECKS[name].kind == "check" for name in group)


def test_every_caution_named_has_a_text_and_the_service_manual_is_deferred_to() -> None:
    texts = tables().cautions
    for row in (*CHECKS.values(), *tables().causes.values()):
        assert set(row.cautions) <= set(texts)
    assert "service manual" in texts["always"]
    for key, word in (
        ("pressure", "very high pressure"),
        ("voltage", "voltage"),
        ("rotating", "Rotating parts"),
        ("air", "turn the crank"),
        ("eyes", "eye protection"),
        ("lockout", "Lock out"),
    ):
        assert word in texts[key]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("rings = [0.04, 0.20, 0.76]", "rings = [0.04, 0.20, 0.70]", "add up to one"),
        ("rings = [0.04, 0.20, 0.76]", "rings = [0.00, 0.24, 0.76]", "above nought"),
        ("rings = [0.04, 0.20, 0.76]", "wings = [0.04, 0.20, 0.76]", "no cause 'wings'"),
        ("otherwise = [0.42, 0.53, 0.05]", "", "otherwise"),
        ("[blow-by.likelihood]", "[blow-by.likelihood", "cannot be read"),
    ],
)
def test_a_table_a_shop_changed_badly_is_refused_in_one_line(old: str, new: str, said: str) -> None:
    here = files("journal.analysis.causes")
    causes, checks = ((here / name).read_text("utf-8") for name in ("causes.toml", "checks.toml"))
    assert old in checks
    with pytest.raises(BadInput, match=said) as refused:
        parse_tables(causes, checks.replace(old, new))
    assert "\n" not in str(refused.value)


def test_a_trouble_code_is_said_in_words() -> None:
    assert code_text(TroubleCode(653, 5)) == "SPN 653 FMI 5: injector 3, current below normal, or open circuit"
    assert code_text(TroubleCode(1234, 31)) == "SPN 1234 FMI 31: condition exists"
    assert len(FAILURE_MODES) == 32
