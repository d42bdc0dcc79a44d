"""Conditions, pressure and repair: typed facts, from which every sentence is made."""

from dataclasses import replace

import numpy as np
import pytest

from journal.analysis import diagnose
from journal.analysis.between.compare import Between, compare
from journal.analysis.between.conditions import Conditions, Pressure, conditions_of
from journal.analysis.between.judged import judged_runs
from journal.analysis.between.pressure import MEANING, Answer, places, pressed, series_of
from journal.analysis.between.repair import repair_of
from journal.analysis.findings import Contribution, Mended, RunFinding, Standing
from journal.analysis.settings import default_settings
from journal.facts import Condition, Engine, PressureLevel, Quantity, RunKind, RunStarted
from tests.analysis.arrange import SIX, job_of, readings

SETTINGS = default_settings()
EVEN = dict.fromkeys(SIX.numbers, 36.0)
ONE_DEAD = {1: 37.5, 2: 37.5, 3: 37.5, 4: 37.5, 5: 30.0, 6: 37.5}
ONE_WEAK = {1: 36.9, 2: 36.9, 3: 36.9, 4: 36.9, 5: 32.0, 6: 36.9}


def between(job) -> Between:
    return compare(job, diagnose(job).runs, SETTINGS)


def conditions(*said: Condition, **start: object) -> Conditions:
    job = job_of(SIX, RunStarted(RunKind.IDLE, **start), *said)  # type: ignore[arg-type]
    return conditions_of(job.runs[0])


def finding(number: int, standings: dict[int, tuple[Standing, float]], *, u: float = 0.02) -> RunFinding:
    """A judged run with these standings and strengths."""
    found = tuple(
        Contribution(c, s / 6, s / 6, s / 6, s, standing, "", strength_u=u) for c, (standing, s) in standings.items()
    )
    missing = tuple(c for c in SIX.numbers if c not in standings)
    return RunFinding(f"run {number}", number, "", "", found, missing, None, None, None, True)


def repaired(was: dict[int, tuple[Standing, float]], now: dict[int, tuple[Standing, float]], *, u: float = 0.02):
    """The repair between two runs of these standings."""
    job = job_of(
        SIX,
        RunStarted(RunKind.IDLE),
        *readings(30.0, EVEN),
        RunStarted(RunKind.IDLE, after_repair=True),
        *readings(30.0, EVEN),
    )
    ids = [run.id for run in job.runs]
    runs = [replace(finding(k, s, u=u), run=ids[k]) for k, s in enumerate((was, now))]
    found = repair_of(judged_runs(job, runs), SETTINGS)
    assert found is not None
    return found


HEALTHY = dict.fromkeys(SIX.numbers, (Standing.EVEN, 1.0))


def with_(cylinder: int, standing: Standing, strength: float) -> dict[int, tuple[Standing, float]]:
    return {**HEALTHY, cylinder: (standing, strength)}


@pytest.mark.parametrize(
    ("was", "now", "verdict", "where"),
    [
        (with_(3, Standing.DEAD, 0.0), HEALTHY, Mended.YES, "back"),
        (with_(3, Standing.WEAK, 0.6), HEALTHY, Mended.YES, "back"),
        (with_(3, Standing.DEAD, 0.0), with_(3, Standing.DEAD, 0.0), Mended.NO, "still_low"),
        (with_(3, Standing.DEAD, 0.0), with_(3, Standing.WEAK, 0.6), Mended.NO, "still_low"),
        (HEALTHY, with_(3, Standing.WEAK, 0.6), Mended.NO, "new_low"),
        (with_(3, Standing.UNCLEAR, 0.8), with_(3, Standing.WEAK, 0.6), Mended.NO, "new_low"),
        (with_(3, Standing.DEAD, 0.0), with_(3, Standing.UNCLEAR, 0.8), Mended.OPEN, "unsettled"),
        (with_(3, Standing.WEAK, 0.83), with_(3, Standing.EVEN, 0.86), Mended.OPEN, "unsettled"),
        (HEALTHY, HEALTHY, Mended.NEVER_LOW, ""),
    ],
)
def test_every_cylinder_of_a_repair_is_in_one_place_and_the_verdict_follows(was, now, verdict, where):
    found = repaired(was, now)
    assert found.verdict is verdict
    assert {w: getattr(found, w) for w in ("back", "still_low", "new_low", "unsettled")} == {
        w: (3,) if w == where else () for w in ("back", "still_low", "new_low", "unsettled")
    }


def test_a_cylinder_not_read_again_is_not_mended():
    now = {c: s for c, s in HEALTHY.items() if c != 3}
    found = repaired(with_(3, Standing.DEAD, 0.0), now)
    assert (found.unsettled, found.verdict) == ((3,), Mended.OPEN)


def test_a_repair_run_that_lacks_other_cylinders_is_not_yet_shown():
    now = {c: s for c, s in HEALTHY.items() if c != 5}
    assert repaired(with_(3, Standing.DEAD, 0.0), now).verdict is Mended.OPEN


def test_a_change_that_the_readings_do_not_settle_is_none_anywhere():
    """The sentence of the job and the one of the comparison come from one verdict."""
    before, after = RunStarted(RunKind.IDLE), RunStarted(RunKind.IDLE, after_repair=True)
    for cuts in (EVEN, ONE_DEAD, ONE_WEAK, {**EVEN, 5: 35.0}):
        found = diagnose(job_of(SIX, before, *readings(30.0, ONE_DEAD), after, *readings(30.0, cuts)))
        said = " | ".join(r.text for c in found.comparisons if "repair" in c.title for r in c.remarks)
        assert found.repair is not None
        assert found.mended.startswith("Mended") == (found.repair.verdict is Mended.YES)
        assert (": mended" in said) == bool(found.repair.back)
        assert (": not mended" in said) == bool(found.repair.still_low)
        assert found.mended.startswith("Not mended") == (found.repair.verdict is Mended.NO)


def test_of_several_runs_before_and_after_a_repair_the_last_ones_count():
    before, after = RunStarted(RunKind.IDLE), RunStarted(RunKind.IDLE, after_repair=True)
    good, dead = readings(30.0, EVEN), readings(30.0, ONE_DEAD)
    for bodies, verdict in (
        ((before, *dead, after, *dead, after, *good), Mended.YES),
        ((before, *dead, after, *good, after, *dead), Mended.NO),
        ((before, *dead, before, *good, after, *good), Mended.NEVER_LOW),
        ((before, *good, before, *dead, after, *good), Mended.YES),
    ):
        found = diagnose(job_of(SIX, *bodies)).repair
        assert found is not None and found.verdict is verdict


@pytest.mark.parametrize(
    ("idle", "loaded", "said"),
    [
        ((Standing.EVEN, 1.0), (Standing.WEAK, 0.6), "weak only under load"),
        ((Standing.EVEN, 0.86), (Standing.WEAK, 0.83), "a difference the readings do not settle"),
        ((Standing.DEAD, 0.0), (Standing.WEAK, 0.6), "low in both"),
        ((Standing.WEAK, 0.6), (Standing.EVEN, 1.0), "low at idle only"),
        ((Standing.EVEN, 1.0), (Standing.UNCLEAR, 0.8), "unclear (80 %) with half the engine held out"),
    ],
)
def test_what_load_does_is_said_only_as_far_as_the_readings_go(idle, loaded, said):
    half = RunStarted(RunKind.HALF_ENGINE, held_out=(4, 5, 6))
    job = job_of(SIX, RunStarted(RunKind.IDLE), *readings(30.0, EVEN), half, *readings(60.0, {1: 90.0, 3: 90.0}))
    ids = [run.id for run in job.runs]
    runs = [replace(finding(k, with_(3, *one)), run=ids[k]) for k, one in enumerate((idle, loaded))]
    (text,) = [r.text for r in compare(job, runs, SETTINGS).comparisons[0].remarks]
    assert text.startswith("cylinder 3 is ") and text.endswith(said)


def test_a_pressure_is_one_whatever_its_unit():
    bar, mpa, psi = (
        conditions(pressure_value=value, pressure_unit=unit).pressure
        for value, unit in ((200.0, "bar"), (20.0, "MPa"), (2900.75, "psi"))
    )
    assert bar.same(mpa) and mpa.same(psi)
    assert bar.above(psi) is None
    less = conditions(pressure_value=100.0, pressure_unit="bar").pressure
    assert mpa.above(less) and not less.above(mpa) and not less.same(mpa)


def test_a_number_set_by_hand_stands_above_what_the_engine_sets_unless_that_was_read():
    usual, number = conditions().pressure, conditions(pressure_value=3300.0, pressure_unit="psi").pressure
    assert number.above(usual) and not usual.above(number)
    read = conditions(Condition(Quantity.INJECTION_PRESSURE, 30.0, "MPa")).pressure
    assert read.above(number)
    assert not usual.same(number) and usual.same(read)


def test_words_stand_in_order_and_low_is_below_what_the_engine_sets():
    low, usual, high = (conditions(pressure=p).pressure for p in (PressureLevel.LOW, None, PressureLevel.HIGH))
    assert high.above(usual) and usual.above(low) and high.above(low)
    assert low.above(usual) is False
    number = Pressure(True, -1, 5.0, "5 MPa")
    assert not number.above(usual)
    bare = conditions(pressure_value=20.0).pressure
    assert high.above(bare) and bare.above(usual) and bare.above(low), "a number that was called neither high nor low"


def test_runs_at_other_speeds_or_with_others_held_out_are_not_alike():
    plain = conditions()
    slow, fast = (conditions(Condition(Quantity.ENGINE_SPEED, rpm, "rpm")) for rpm in (700.0, 1100.0))
    assert plain.like(slow, SETTINGS) and not slow.like(fast, SETTINGS)
    assert slow.like(fast, SETTINGS, but=("speed_rpm",))
    assert slow.like(conditions(Condition(Quantity.ENGINE_SPEED, 720.0, "rpm")), SETTINGS)
    assert not plain.like(conditions(held_out=(1, 2)), SETTINGS)
    assert conditions(held_out=(2, 1)).like(conditions(held_out=(1, 2)), SETTINGS)
    assert not plain.like(conditions(after_repair=True), SETTINGS)


def test_a_cold_run_is_not_like_a_warm_one():
    cold, warm = (conditions(Condition(Quantity.COOLANT_TEMPERATURE, c, "degC")) for c in (20.0, 85.0))
    fahrenheit = conditions(Condition(Quantity.COOLANT_TEMPERATURE, 176.0, "degF"))
    assert not cold.like(warm, SETTINGS) and warm.like(fahrenheit, SETTINGS)
    assert cold.like(conditions(), SETTINGS) and cold.like(warm, SETTINGS, but=("temperature_c",))


def test_a_repair_run_at_another_pressure_is_not_compared():
    before = RunStarted(RunKind.IDLE, pressure_value=10, pressure_unit="MPa")
    after = RunStarted(RunKind.IDLE, pressure_value=20, pressure_unit="MPa", after_repair=True)
    job = job_of(SIX, before, *readings(30.0, ONE_DEAD), after, *readings(30.0, EVEN))
    found = diagnose(job)
    assert found.repair is not None and found.repair.verdict is Mended.NOT_COMPARED
    same = replace(after, pressure_value=100, pressure_unit="bar")
    found = diagnose(job_of(SIX, before, *readings(30.0, ONE_DEAD), same, *readings(30.0, EVEN)))
    assert found.repair is not None and found.repair.verdict is Mended.YES


def sweep(*levels: tuple[float, str, dict[int, float]]):
    runs: list = []
    for value, unit, cuts in levels:
        runs += [RunStarted(RunKind.IDLE, pressure_value=value, pressure_unit=unit), *readings(30.0, cuts)]
    return job_of(SIX, *runs)


def test_the_same_pressure_in_two_units_is_no_sweep():
    assert between(sweep((100, "bar", ONE_DEAD), (10, "MPa", EVEN))).pressed == ()


def test_a_sweep_in_mixed_units_is_taken_in_order():
    pressed_ = between(sweep((20, "MPa", EVEN), (50, "bar", ONE_DEAD), (1740.5, "psi", ONE_WEAK))).pressed
    (found,) = (one for one in pressed_ if one.low)
    assert [round(level.pressure.mpa or 0) for level in found.levels] == [5, 12, 20]
    assert (found.cylinder, found.answer) == (5, Answer.RECOVERS)
    assert [round(p.mpa or 0) for p in found.fires_between or ()] == [5, 12]


def test_a_numeric_pressure_is_compared_with_the_usual_one():
    job = job_of(
        SIX,
        RunStarted(RunKind.IDLE),
        *readings(30.0, ONE_DEAD),
        RunStarted(RunKind.IDLE, pressure_value=3300, pressure_unit="psi"),
        *readings(30.0, EVEN),
    )
    found = between(job)
    assert [p.answer for p in found.pressed if p.low] == [Answer.RECOVERS]
    assert any("recovers" in r.text and "speaks for the injector" in r.text for r in found.comparisons[0].remarks)


@pytest.mark.parametrize(
    ("low", "high", "answer"),
    [
        ((Standing.DEAD, 0.0), (Standing.EVEN, 1.0), Answer.RECOVERS),
        ((Standing.DEAD, 0.0), (Standing.WEAK, 0.5), Answer.RISES),
        ((Standing.DEAD, 0.0), (Standing.DEAD, 0.02), Answer.SAME),
        ((Standing.WEAK, 0.6), (Standing.UNCLEAR, 0.8), Answer.RISES),
        ((Standing.WEAK, 0.6), (Standing.DEAD, 0.0), Answer.FALLS),
    ],
)
def test_how_a_cylinder_takes_pressure(low, high, answer):
    job = sweep((5, "MPa", EVEN), (20, "MPa", EVEN))
    ids = [run.id for run in job.runs]
    runs = [replace(finding(k, with_(3, *one)), run=ids[k]) for k, one in enumerate((low, high))]
    taken = pressed(3, series_of(judged_runs(job, runs), SETTINGS)[0], SETTINGS)
    assert taken is not None and taken.answer is answer
    assert (taken.fires_between is not None) == (low[0] is Standing.DEAD and answer in (Answer.RECOVERS, Answer.RISES))


def test_the_slope_of_strength_against_pressure_is_numpys_weighted_fit():
    """`numpy.polyfit` with weights 1/u and an unscaled covariance, on the same strengths."""
    at, strength, u = [5.0, 12.0, 18.0, 24.0], [0.1, 0.3, 0.55, 0.7], 0.04
    job = sweep(*((mpa, "MPa", EVEN) for mpa in at))
    ids = [run.id for run in job.runs]
    runs = [replace(finding(k, with_(3, Standing.WEAK, s), u=u * (1 + k)), run=ids[k]) for k, s in enumerate(strength)]
    series = series_of(judged_runs(job, runs), SETTINGS)[0]
    taken = pressed(3, series, SETTINGS)
    weights = [1 / (u * (1 + k)) for k in range(4)]
    expected, covariance = np.polyfit(at, strength, 1, w=weights, cov="unscaled")
    assert taken is not None and taken.per_mpa is not None
    assert taken.per_mpa == pytest.approx((expected[0], np.sqrt(covariance[0, 0])))
    assert places(series) == at


def test_a_sweep_gives_every_cylinder_at_every_pressure_with_its_interval():
    found = diagnose(sweep((5, "MPa", ONE_DEAD), (12, "MPa", ONE_WEAK), (18, "MPa", ONE_WEAK), (24, "MPa", EVEN)))
    assert [one.cylinder for one in found.by_pressure] == list(SIX.numbers)
    assert [[p.mpa for p in one.points] for one in found.by_pressure] == [[5, 12, 18, 24]] * 6
    for one in found.by_pressure:
        for point, run in zip(one.points, found.runs, strict=True):
            judged = next(c for c in run.contributions if c.cylinder == one.cylinder)
            assert (point.run, point.standing, point.strength) == (run.run, judged.standing, judged.strength)
            assert point.high - point.low == pytest.approx(2 * 1.96 * judged.strength_u)
            assert point.low < point.strength < point.high
    five = found.by_pressure[4]
    assert (five.answer, five.meaning) == ("recovers", MEANING[Answer.RECOVERS])
    assert five.gain == pytest.approx(1, abs=0.05) and five.gain_low < five.gain < five.gain_high
    assert five.per_mpa is not None and five.per_mpa_low is not None and five.per_mpa_high is not None
    assert 0.03 < five.per_mpa_low < five.per_mpa < five.per_mpa_high < 0.08
    one = found.by_pressure[0]
    assert (one.answer, one.meaning) == ("no difference", "")
    text = found.comparisons[0].remarks[0].text
    assert [f"at {mpa} MPa" in text for mpa in (5, 12, 18, 24)] == [True] * 4
    assert len(found.comparisons[0].remarks) == 1
    assert text.startswith("cylinder 5 is dead (0 %, 0 to ")


def test_pressures_in_words_have_no_slope():
    runs: list = []
    for level, cuts in ((PressureLevel.LOW, ONE_DEAD), (PressureLevel.HIGH, EVEN)):
        runs += [RunStarted(RunKind.IDLE, pressure=level), *readings(30.0, cuts)]
    found = diagnose(job_of(SIX, *runs)).by_pressure[4]
    assert (found.per_mpa, found.per_mpa_low, found.per_mpa_high) == (None, None, None)
    assert [(p.pressure, p.mpa) for p in found.points] == [("low pressure", None), ("high pressure", None)]


@pytest.mark.parametrize("middle", [ONE_WEAK, EVEN])
def test_a_cylinder_that_pulls_only_between_two_pressures_is_no_answer_to_pressure(middle):
    job = sweep((5, "MPa", ONE_DEAD), (12, "MPa", middle), (20, "MPa", ONE_DEAD))
    found = diagnose(job)
    assert found.by_pressure[4].answer == "varies"
    assert "make sure of the run that differs" in found.comparisons[0].remarks[0].text
    assert not any("high injection pressure" in e.what for c in found.cylinders[0].causes for e in c.evidence)
    steady = diagnose(sweep((5, "MPa", ONE_DEAD), (12, "MPa", ONE_DEAD), (20, "MPa", ONE_DEAD)))
    assert steady.by_pressure[4].answer == "no difference"
    assert "speaks for valve gear" in steady.comparisons[0].remarks[0].text


def test_half_engine_at_a_set_pressure_is_not_set_against_idle_at_the_usual_one():
    idle = RunStarted(RunKind.IDLE)
    half = RunStarted(RunKind.HALF_ENGINE, held_out=(1, 2, 3), pressure=PressureLevel.HIGH)
    job = job_of(SIX, idle, *readings(30.0, EVEN), half, *readings(60.0, {4: 101.0, 5: 72.9, 6: 101.0}))
    assert not any("half engine" in c.title for c in between(job).comparisons)


def test_an_engine_whose_lows_share_nothing_is_left_alone():
    assert between(job_of(Engine(6), RunStarted(RunKind.IDLE), *readings(30.0, EVEN))).comparisons == ()
