"""Small jobs worked out, with what came: `python -m tests.analysis.worked` writes `worked.json` anew.

What is kept is numbers and single words; of a sentence only the numbers in it, so that its wording is free. That the
numbers are right is for the published examples, the sampler and the simulated engines to say; these jobs say that
nothing moves unseen.
"""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

from journal.analysis import diagnose
from journal.analysis.between.machine import Earlier, remembered
from journal.analysis.findings_json import findings_to_json
from journal.record.job import Job
from tests.analysis.worked_jobs import jobs

DATA = Path(__file__).with_name("worked.json")
UNKEPT = frozenset({"run", "entries", "entry", "job", "formula", "cautions", "meaning", "tools"})


def facts(name: str) -> Any:
    """What is stated about one of the jobs, without sentences and identifiers."""
    job, before = jobs()[name]
    return _facts(findings_to_json(diagnose(job, earlier=[_earlier(*one) for one in before])))


def _earlier(days: int, job: Job) -> Earlier:
    found = remembered(job, diagnose(job).runs, "ABCD")
    return replace(found, opened_at=found.opened_at - timedelta(days=days))


def _facts(value: Any) -> Any:
    if isinstance(value, dict):
        # The runs of a comparison are identifiers, those of a job its findings; what is empty is left out.
        of_ids = {key for key, each in value.items() if key == "runs" and each and isinstance(each[0], str)}
        kept = {key: _facts(each) for key, each in value.items() if key not in UNKEPT | of_ids}
        return {key: each for key, each in kept.items() if each not in (None, "", [], {}) and each is not False}
    if isinstance(value, list):
        return [_facts(each) for each in value]
    if isinstance(value, float):
        return float(f"{value:.5g}")
    if isinstance(value, str) and " " in value:
        return [float(number) for number in re.findall(r"\d+(?:\.\d+)?", value)]
    return value


def differences(kept: Any, found: Any, where: str = "") -> list[str]:
    """Where the facts differ by more than one part in 3,000, or 1e-5."""
    if isinstance(kept, dict) and isinstance(found, dict):
        lost = [f"{where}: {sorted(kept.keys() ^ found.keys())}"] if kept.keys() != found.keys() else []
        return lost + [
            d for key in kept.keys() & found.keys() for d in differences(kept[key], found[key], f"{where}.{key}")
        ]
    if isinstance(kept, list) and isinstance(found, list):
        lost = [f"{where}: {len(kept)} to {len(found)}"] if len(kept) != len(found) else []
        pairs = enumerate(zip(kept, found, strict=False))
        return lost + [d for place, (a, b) in pairs for d in differences(a, b, f"{where}[{place}]")]
    if isinstance(kept, float | int) and isinstance(found, float | int):
        same = math.isclose(kept, found, rel_tol=3e-4, abs_tol=1e-5)
    else:
        same = kept == found
    return [] if same else [f"{where}: {kept!r} to {found!r}"]


if __name__ == "__main__":
    text = json.dumps({name: facts(name) for name in jobs()}, separators=(",", ":"))
    DATA.write_text(text.replace('},"', '},\n"') + "\n", encoding="utf-8")
