"""Commands on words: enter them, try them, print what can be said."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from journal.cli.common import (
    echo,
    engine_from,
    engine_options,
    is_journal,
    job_of,
    job_option,
    json_option,
    print_json,
    print_outcome,
    store_of,
    technician_option,
)
from journal.context import context_of
from journal.errors import BadInput
from journal.facts import UNITS, Baseline, Body, Condition, Cut, kind_of
from journal.facts.codec import body_to_json
from journal.holding import is_holding, keep_holding
from journal.home import journal_folder
from journal.learnt import learnt
from journal.record.shop_units import kept_units
from journal.session import Session
from journal.wording import cheat_sheet, decide_text, describe, phrases
from journal.wording.decide import NOTHING_FOR_IT
from journal.wording.near import Near, near
from journal.wording.types import LONGEST_LINE, Command, Context, Decision, Number, Verdict


@click.command("enter")
@click.argument("text", nargs=-1)
@click.option(
    "--file", "file", type=click.Path(path_type=Path, allow_dash=True), help="A line each; - for standard input."
)
@click.option("--lead", is_flag=True, help="Lead the test: ask for each reading, and take bare numbers.")
@job_option
@technician_option
@click.pass_context
def enter_command(
    ctx: click.Context, text: tuple[str, ...], file: Path | None, lead: bool, reference: str | None, technician: str
) -> None:
    """Enter typed words as if they were spoken: journal enter cylinder four cut, thirty eight"""
    store = store_of(ctx)
    session = Session(store, job_of(store, reference), technician)
    session.held = is_holding(store.folder, session.job_id)
    if lead:
        echo(f'    says "{session.lead_on()}"')
    lines = [" ".join(text)] if text else []
    if file is not None or not text:
        lines += _lines(file)
    if not any(line.strip() for line in lines):
        raise BadInput("nothing to enter: give words, or --file with a line each")
    check_length(lines)
    try:
        understood = [_enter(session, line, show=len(lines) > 1) for line in lines if line.strip()]
    finally:
        keep_holding(store.folder, session.job_id, session.held)
    if session.held and not any(understood):
        raise BadInput("holding on, so nothing was saved: `journal enter carry on` goes on")
    if not any(understood):
        raise BadInput(
            "nothing in that was for the journal, so nothing was saved; `journal phrases` lists what can be said"
        )


def check_length(lines: Sequence[str]) -> None:
    """Refuse lines that would take long to make out; `BadInput`, before any of them is entered."""
    for line in lines:
        if len(line) > LONGEST_LINE:
            raise BadInput(
                f"a line of {len(line)} characters: at most {LONGEST_LINE} are taken; give it in several lines"
            )


def _lines(file: Path | None) -> list[str]:
    name = "standard input" if file is None or str(file) == "-" else str(file)
    try:
        data = sys.stdin.buffer.read() if file is None or str(file) == "-" else file.read_bytes()
        return data.decode("utf-8-sig").splitlines()
    except OSError as error:
        raise BadInput(f"{name}: cannot be read ({error.strerror}); check its name") from None
    except UnicodeDecodeError:
        raise BadInput(f"{name}: not a text file in UTF-8") from None


def _enter(session: Session, line: str, *, show: bool) -> bool:
    outcomes = session.type(line)
    for index, outcome in enumerate(outcomes):
        print_outcome(outcome, heard=line if show and index == 0 else "")
    return any(outcome.verdict is not Verdict.LET_GO for outcome in outcomes)


@click.command("try")
@click.argument("text", nargs=-1, required=True)
@engine_options
@job_option
@json_option
@click.option("--expect", type=click.Choice(["anything", "number"]), default="anything", help="What is waited for.")
@click.pass_context
def try_command(
    ctx: click.Context, /, text: tuple[str, ...], reference: str | None, as_json: bool, expect: str, **engine: Any
) -> None:
    """Show what words would be understood as, without saving anything."""
    context = context_for(ctx, reference, engine, expect)
    check_length([" ".join(text)])
    decisions = decide_text(" ".join(text), context)
    if as_json:
        print_json([decision_to_json(d, context) for d in decisions])
        return
    for decision in decisions:
        echo(decision_line(decision))


@click.command("phrases")
@click.option("--learnt", "of_jobs", is_flag=True, help="What was not understood, and what it was put right to.")
@json_option
@click.pass_context
def phrases_command(ctx: click.Context, of_jobs: bool, as_json: bool) -> None:
    """Print what can be said, on one page; or, of all jobs, what was not understood and what it was put right to."""
    if not of_jobs:
        if as_json:
            print_json([asdict(group) for group in phrases()])
        else:
            echo(cheat_sheet())
        return
    found = learnt(store_of(ctx))
    if as_json:
        print_json([asdict(one) for one in found])
        return
    for one in found:
        echo(f'{one.times:>4}  "{one.heard}"  ->  "{one.meant}"  ({one.kind})')
    if not found:
        echo("nothing yet: what is not understood is put right on the page, in a job's Review")


def context_for(ctx: click.Context, reference: str | None, engine: dict[str, Any], expect: str) -> Context:
    """The context of words that are not saved: the engine described by options, else the open job's, else none."""
    expects_number = expect == "number"
    folder = journal_folder(ctx.find_root().obj)
    units = kept_units(folder) or {}
    if engine["cylinders"] is not None or engine["firing_order"] or engine["shape"]:
        return Context(engine=engine_from(**engine), expects_number=expects_number, units=tuple(units.items()))
    if reference is None and (not is_journal(folder) or store_of(ctx).latest_open() is None):
        return Context(expects_number=expects_number, units=tuple(units.items()))
    store = store_of(ctx)
    from dataclasses import replace

    return replace(context_of(store.job(job_of(store, reference)), units), expects_number=expects_number)


def decision_line(decision: Decision) -> str:
    """One decision as a line: verdict, what it means, how sure, why."""
    if decision.verdict is Verdict.ASK:
        return f"ask: {decision.prompt}  ({decision.reason})" if decision.reason else f"ask: {decision.prompt}"
    if decision.verdict is Verdict.LET_GO or decision.meaning is None:
        if decision.reason == NOTHING_FOR_IT and near(decision.heard) is not Near.NOTHING:
            return f'ask: Sorry? I made out "{decision.heard.strip(" .,!?")}".'
        return f"let go: {decision.reason or 'not for the journal'}"
    return f"take: {describe(decision.meaning)}  ({decision.certainty:.1%} sure)"


def decision_to_json(decision: Decision, context: Context) -> dict[str, Any]:
    """One decision as plain values: kind, cylinder, quantity, value, unit, decision, and all that was said with it."""
    meaning = decision.meaning
    out: dict[str, Any] = {
        "kind": None,
        "cylinder": None,
        "quantity": None,
        "value": None,
        "unit": None,
        "decision": decision.verdict.value,
        "certainty": round(decision.certainty, 4),
        "heard": decision.heard,
        "reason": decision.reason,
    }
    if decision.verdict is Verdict.LET_GO:
        return out
    if meaning is not None:
        out.update(_meaning_to_json(meaning, context))
    if decision.verdict is Verdict.ASK:
        out["prompt"] = decision.prompt
        out["alternatives"] = [_meaning_to_json(m, context) for m in decision.alternatives]
    return out


def _meaning_to_json(meaning: Body | Command | Number, context: Context) -> dict[str, Any]:
    if isinstance(meaning, Number):
        return {"kind": "number", "value": meaning.value}
    if isinstance(meaning, Command):
        return {
            "kind": "command",
            "command": meaning.word.value,
            "cylinder": meaning.cylinder,
            "value": meaning.value,
        }
    fields = {"cylinder": None, "quantity": None, "value": None, "unit": None, **body_to_json(meaning)}
    if isinstance(meaning, Cut | Baseline | Condition):
        quantity = meaning.quantity or context.quantity
        same = quantity == context.quantity
        fields["quantity"] = quantity.value
        fields["unit"] = meaning.unit or (context.unit if same else "") or UNITS[quantity][0]
    return {**fields, "kind": kind_of(meaning)}
