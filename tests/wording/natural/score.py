"""How technicians really talk, typed into a fresh job a line: `python -m tests.wording.natural.score FILE [--list]`.

A line: `before` (typed first), perhaps `asked` (options of a question that waits), `say`, `want` (what the journal must
hold after it, in the journal's own kinds and fields), `also_ok` (other truths), `ask_ok` (asking is right too), `units`
(what a pressure or temperature without a unit means in this shop).

What counts is the net effect on the job: what is new, changed (`correction`) or gone (`withdrawal`), however it came
about, and commands that only tell or hold. A field that `want` leaves out must stand at its default, but for a unit or
a watched quantity that nobody said, and all but the repeat of a run that repeats. Numbers are compared after
conversion. Free words: each word of `want` must be kept. An empty `want` is to be let go.

Verdicts: right; first (asked, the truth as it is offered first); asked (otherwise); lost (let go, or a part of it,
though wanted); wrong (an entry that is not wanted). `(unit)` marks lines at fault for a unit alone.
"""

import argparse
import collections
import dataclasses
import json
import pathlib
import re
import tempfile
from datetime import UTC, datetime, timedelta

from journal.context import context_of
from journal.facts import UNITS, Answer, Correction, Engine, JobOpened, Quantity, Question, kind_of
from journal.facts.codec import body_from_json
from journal.record.store import Store
from journal.session import Session, open_job
from journal.wording.types import Command, Verdict

ORDER = ("right", "first", "asked", "lost", "wrong")
TELLING = {"say again", "read back", "what is missing", "how does it look", "hold on", "carry on"}
TO_BASE = {
    "MPa": (1000, 0),
    "bar": (100, 0),
    "psi": (6.894757293168, 0),
    "kPa": (1, 0),
    "mbar": (0.1, 0),
    "inH2O": (0.24908891, 0),
    "degC": (1, 0),
    "degF": (5 / 9, -32 * 5 / 9),
    "mm": (1, 0),
    "in": (25.4, 0),
}
DEFAULT_UNIT = {
    "injector resistance": "ohm",
    "lash": "mm",
    "lobe lift": "mm",
    "leak-down": "%",
    "compression": "kPa",
    "port temperature": "degC",
    "fuel supply": "kPa",
}
FREE = {"note": "text", "repair done": "text", "part wanted": "description"}
IGNORED = {"note": {"cylinder"}, "repair done": {"cylinder"}, "part wanted": {"reason"}}


def opened(line):
    return JobOpened(unit="u", engine=Engine(cylinders=line["cylinders"]))


def plain(body, quantity=None, unit=None):
    """A body as plain values, all fields, with quantity and unit as the run has them."""
    out = {"kind": kind_of(body)}
    for f in dataclasses.fields(body):
        v = getattr(body, f.name)
        out[f.name] = (
            list(v) if isinstance(v, tuple) else v if isinstance(v, (bool, int, float)) or v is None else str(v)
        )
    if out["kind"] in ("cut", "baseline", "condition"):
        q = quantity or (str(body.quantity) if body.quantity else None)
        out["quantity"], out["unit"] = q, unit or body.unit or (UNITS[Quantity(q)][0] if q else "")
    if out["kind"] == "check" and body.value is not None:
        out["unit"] = body.unit or DEFAULT_UNIT.get(str(body.subject), "")
    return out


def readings(job):
    every = [r for run in job.runs for r in (*run.baselines, *run.cuts, *run.conditions)] + list(job.conditions)
    return {r.entry: r for r in every}


def of_entry(entry_id, body, job, found):
    r = found.get(entry_id)
    return plain(body, str(r.quantity), r.unit) if r is not None else plain(body)


def option(body, job):
    if isinstance(body, Correction):
        inner = option(body.body, job)
        return {**inner, "kind": "correction", "of": inner["kind"]}
    ctx = context_of(job)
    if kind_of(body) in ("cut", "baseline"):
        q = str(body.quantity or ctx.quantity)
        return plain(body, q, body.unit or (ctx.unit if q == str(ctx.quantity) else "") or UNITS[Quantity(q)][0])
    return plain(body)


def same_number(a, b, ua, ub, unit_counts):
    if a is None or b is None:
        return a is b
    if ua and unit_counts and ua != ub:
        if (
            ua not in TO_BASE
            or ub not in TO_BASE
            or (ua[:3] == "deg") != (ub[:3] == "deg")
            or (ua in ("mm", "in")) != (ub in ("mm", "in"))
        ):
            return False
        a, b = (v * TO_BASE[u][0] + TO_BASE[u][1] for v, u in ((a, ua), (b, ub)))
        return abs(a - b) <= 1e-4 * max(abs(a), abs(b), 1e-9)
    return abs(a - b) <= 1e-6 * max(1, abs(a))


def words(text):
    found = re.findall(r"[a-z0-9']+", str(text).lower())
    return {piece for word in found for piece in ([word[:-2], "is"] if word.endswith("'s") else [word])}


DEFAULTS = {
    "run start": {
        "held_out": [],
        "pressure": None,
        "pressure_value": None,
        "after_repair": False,
        "repeat": False,
        "idle_fuel": None,
        "quantity": "fuel per stroke",
    },
    "check": {
        "cylinder": None,
        "part": None,
        "place": None,
        "value": None,
        "crank_turned": None,
        "other_cylinder": None,
    },
    "cut": {"value": None, "no_change": False},
    "part wanted": {"cylinder": None, "quantity": 1},
    "photo cue": {"cylinder": None},
    "command": {"cylinder": None},
}


def matches(want, got, unit_counts=True):
    if want["kind"] != got["kind"]:
        return False
    kind = want["kind"]
    full = want if kind == "run start" and want.get("repeat") else {**DEFAULTS.get(kind, {}), **want}
    for name, w in full.items():
        if name in ("unit", "pressure_unit", "kind") or name in IGNORED.get(kind, ()):
            continue
        g = got.get(name)
        if name == FREE.get(kind) or (kind == "job fact" and name == "value"):
            if not words(w) <= words(g) and str(w).lower() != str(g).lower():
                return False
        elif name in ("value", "pressure_value"):
            unit = "unit" if name == "value" else "pressure_unit"
            if not same_number(w, g, full.get(unit), got.get(unit), unit_counts):
                return False
        elif isinstance(w, float) or isinstance(g, float):
            if w is None or g is None or abs(w - g) > 1e-6:
                return False
        elif w != g:
            return False
    return True


def unmatched(wants, gots, unit_counts=True):
    """What of each is left once each wanted thing has taken the first that fits it."""
    left, missing = list(gots), []
    for w in wants:
        hit = next((g for g in left if matches(w, g, unit_counts)), None)
        if hit is None:
            missing.append(w)
        else:
            left.remove(hit)
    return missing, left


def judge(line, taken, asks, unit_counts=True):
    best = "wrong"
    for want in [line["want"], *line.get("also_ok", [])]:
        missing, extra = unmatched(want, taken, unit_counts)
        if extra:
            continue
        if not asks:
            found = "right" if not missing else "lost"
        else:
            firsts = [a[0] for a in asks if a]
            rest, odd = unmatched(missing, firsts, unit_counts)
            among = all(any(matches(w, o, unit_counts) for a in asks for o in a) for w in missing)
            found = "first" if not rest and not odd and len(firsts) == len(asks) and missing else "asked"
            if line.get("ask_ok") and (found == "first" or not want or (missing and among)):
                found = "right"
        best = min(best, found, key=ORDER.index)
    return best


def play(line, folder):
    at = [datetime(2026, 1, 1, tzinfo=UTC)]

    def clock():
        at[0] += timedelta(seconds=2)
        return at[0]

    store = Store.open(folder)
    try:
        s = Session(store, open_job(store, opened(line), "t", at=clock()), clock=clock)
        s.units = line["units"]
        fault = [w for w in line["before"] if any(o.verdict is Verdict.LET_GO for o in s.type(w))]
        if "asked" in line:
            s.enter(Question("which?", tuple(body_from_json(b) for b in line["asked"])))
        old = s.job
        before = {i: e.body for i, e in old.effective.items()}
        was = readings(old)
        outcomes = s.type(line["say"])
        new = s.job
        now = readings(new)
        taken, asks = [], []
        for i, e in new.effective.items():
            body = e.body
            if i not in before:
                if isinstance(body, Question):
                    asks.append([option(b, old) for b in body.options])
                elif isinstance(body, Answer):
                    if body.choice is None and body.body is None:
                        taken.append({"kind": "answer", "choice": None})
                else:
                    taken.append(of_entry(i, body, new, now))
            elif body != before[i]:
                got = of_entry(i, body, new, now)
                taken.append(
                    got if isinstance(before[i], Question) else {**got, "kind": "correction", "of": got["kind"]}
                )
        for i, body in before.items():
            if i not in new.effective and not isinstance(body, Question | Answer):
                gone = of_entry(i, body, old, was)
                taken.append({**gone, "kind": "withdrawal", "of": gone["kind"]})
        for o in outcomes:
            m = o.decision.meaning if o.decision else None
            if o.verdict is Verdict.ASK and o.entry is None:
                asks.append([])
            elif o.verdict is Verdict.TAKE and isinstance(m, Command) and m.word.value in TELLING:
                taken.append({"kind": "command", "command": m.word.value, "cylinder": m.cylinder})
        return taken, asks, outcomes, fault
    finally:
        store.close()


def brief(item):
    shown = {
        k: v
        for k, v in item.items()
        if v not in (None, "", [], False) and not (k == "pressure_unit" and not item.get("pressure_value"))
    }
    return shown.pop("kind") + " " + " ".join(f"{k}={v}" for k, v in shown.items())


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("file", type=pathlib.Path)
    p.add_argument("--list", action="store_true")
    p.add_argument("--group", default="")
    p.add_argument("--only", default="")
    p.add_argument(
        "--bar", action="store_true", help="fail under 95 % right, over 0.3 % wrong or over 2 % lost, `beyond` aside"
    )
    a = p.parse_args()
    lines = [json.loads(x) for x in a.file.read_text().splitlines() if x.strip()]
    lines = [x for x in lines if a.group in x["group"]]
    table, units, listed, faults = collections.defaultdict(collections.Counter), 0, [], []
    with tempfile.TemporaryDirectory() as d:
        for n, line in enumerate(lines):
            taken, asks, outcomes, fault = play(line, pathlib.Path(d) / str(n))
            verdict = judge(line, taken, asks)
            alone = verdict != "right" and ORDER.index(judge(line, taken, asks, False)) < ORDER.index(verdict)
            units += alone
            table[line["group"]][verdict] += 1
            if fault:
                faults.append((line["id"], fault))
            listed.append((verdict, alone, line, taken, asks, outcomes))
    print(f"{'group':26}{'lines':>6}" + "".join(f"{v:>7}" for v in ORDER))
    total = collections.Counter()
    for group, row in table.items():
        total += row
        print(f"{group:26}{sum(row.values()):6}" + "".join(f"{row[v]:7}" for v in ORDER))
    print(
        f"{'in all':26}{sum(total.values()):6}"
        + "".join(f"{total[v]:7}" for v in ORDER)
        + f"   for a unit alone: {units}"
    )
    spoken = [x for x in listed if x[2]["group"] != "negative"]
    good = sum(x[0] == "right" for x in spoken)
    print(f"without negatives: {good} of {len(spoken)} right ({good / max(1, len(spoken)):.1%})")
    for i, f in faults:
        print(f"BEFORE NOT UNDERSTOOD {i}: {f}")
    if a.list:
        for verdict in ORDER[:0:-1]:
            for v, alone, line, taken, asks, outcomes in listed:
                if v != verdict or (a.only and v != a.only):
                    continue
                print(f"{v}{' (unit)' if alone else ''} {line['id']} [{line['group']}] {line['say']!r}")
                print("    want: " + ("; ".join(map(brief, line["want"])) or "nothing"))
                print(
                    "    got:  "
                    + ("; ".join(map(brief, taken)) or "nothing")
                    + "".join(" | ask: " + (" or ".join(map(brief, o)) or "again") for o in asks)
                    + ("" if taken or asks else f" ({outcomes[0].line})" if outcomes else "")
                )


if __name__ == "__main__":
    main()
