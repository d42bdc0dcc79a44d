"""Whatever a technician may have entered, ranking gives chances that add up to one and words, never an exception."""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest

from journal.analysis import Findings, diagnose
from journal.facts import (
    LEAK_PLACES,
    MEASURED,
    OUTCOMES,
    PARTS,
    Baseline,
    Body,
    Check,
    Condition,
    Cut,
    Engine,
    PartWanted,
    PressureLevel,
    Quantity,
    RepairDone,
    RunKind,
    RunStarted,
    Subject,
    TroubleCode,
)
from journal.output.lines import findings_text
from journal.output.render import render
from tests.causes.arrange import ENGINES, job_of


def any_check(random_: random.Random) -> Check:
    subject = random_.choice(list(Subject))
    outcome = random_.choice([*OUTCOMES[subject], MEASURED])
    return Check(
        subject,
        outcome,
        cylinder=random_.choice([None, 1, 2, 3, 20]),
        part=random_.choice([None, *PARTS]),
        place=random_.choice([None, *LEAK_PLACES]),
        value=random_.choice([0.0, -3.0, 55.0, 1e9]) if outcome == MEASURED else None,
        crank_turned=random_.choice([None, True, False]),
        other_cylinder=random_.choice([None, 4]),
    )


def any_body(random_: random.Random, engine: Engine) -> Body:
    return random_.choice(
        [
            lambda: RunStarted(
                random_.choice(list(RunKind)),
                pressure=random_.choice([None, *PressureLevel]),
                pressure_value=random_.choice([None, 5.0, 18.0]),
                held_out=random_.choice([(), (1, 2), (1, 2, 3)]),
                after_repair=random_.random() < 0.2,
            ),
            lambda: Baseline(random_.choice([0.0, 30.0, 30.2, 58.0, -1.0])),
            lambda: Cut(random_.choice([*engine.numbers, 19]), random_.choice([30.0, 37.5, 38.0, 30.3, 0.0, 1e6])),
            lambda: Cut(random_.choice(list(engine.numbers)), no_change=True),
            lambda: any_check(random_),
            lambda: any_check(random_),
            lambda: TroubleCode(random_.choice([651, 653, 670, 94, 164, 7]), random_.randrange(32)),
            lambda: Condition(Quantity.CRANKCASE_PRESSURE, 1.2),
            lambda: RepairDone("something", 2),
            lambda: PartWanted("injector", 1, random_.choice([None, 1, 3])),
        ]
    )()


def sound(findings: Findings) -> None:
    for found in findings.cylinders:
        assert sum(cause.probability for cause in found.causes) == pytest.approx(1, abs=1e-6)
        assert found.verdict.endswith(".")
        for cause in found.causes:
            assert all(math.isfinite(evidence.factor) and evidence.factor > 0 for evidence in cause.evidence)
    for cause in findings.engine_causes:
        assert 0 < cause.probability <= 1
    assert findings.next_check is not None or findings.why_no_check
    assert findings.cautions


@pytest.mark.parametrize("seed", range(60))
def test_any_entries_whatever_give_sound_findings_and_a_write_up(seed: int, tmp_path: Path) -> None:
    random_ = random.Random(seed)
    engine = ENGINES[random_.choice(sorted(ENGINES))]
    bodies: list[Body] = []
    if seed % 2:
        for _ in range(random_.randint(1, 3)):
            bodies += [RunStarted(RunKind.IDLE, pressure=random_.choice([None, *PressureLevel])), Baseline(30.0)]
            good = round(30 / (1 - 1 / (engine.cylinders - 1)), 1)
            bodies += [Cut(c, random_.choice([good, good, good, 30.0, 31.0])) for c in engine.numbers]
    bodies += [any_body(random_, engine) for _ in range(random_.randint(0, 30))]
    job = job_of(bodies, engine)
    findings = diagnose(job)
    sound(findings)
    assert "nan" not in findings_text(findings)
    for form in ("txt", "html", "json") if seed % 10 else ("txt", "html", "json", "pdf"):
        assert render(job, findings, form, tmp_path)
