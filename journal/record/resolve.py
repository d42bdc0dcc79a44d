"""Which entries count, and what they say once corrections, withdrawals and answers have done their work."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from journal.facts import (
    Answer,
    Body,
    ClockSetBack,
    Correction,
    Entry,
    JobOpened,
    PartAnswer,
    Question,
    Seen,
    Withdrawal,
)


def in_order(entries: Iterable[Entry]) -> list[Entry]:
    """Entries by time, then identifier; one of each identifier.

    What is dated ahead of a `ClockSetBack` that names it stands right before that, in the order it had.
    """
    ordered = sorted({entry.id: entry for entry in entries}.values(), key=lambda entry: (entry.at_utc, entry.id))
    for mark in [entry for entry in ordered if isinstance(entry.body, ClockSetBack)]:
        assert isinstance(mark.body, ClockSetBack)
        at, named = ordered.index(mark), set(mark.body.before)
        late = [entry for entry in ordered[at + 1 :] if entry.id in named]
        if late:
            rest = [entry for entry in ordered[at + 1 :] if entry.id not in named]
            ordered = [*ordered[:at], *late, mark, *rest]
    return ordered


def target_of(body: Body) -> str | None:
    """Identifier of the entry that a body is about; none for one that stands by itself."""
    match body:
        case Correction() | Withdrawal() | Seen():
            return body.target
        case Answer():
            return body.question
        case PartAnswer():
            return body.part
        case _:
            return None


@dataclass(frozen=True)
class Resolved:
    """What is left of a job's entries once each has had its say about the others."""

    effective: dict[str, Entry]
    """Entries that count, by identifier in order, with the bodies that count."""
    replaced_by: dict[str, tuple[str, ...]]
    """For an entry that was corrected, withdrawn or answered: the entries that did so, in order."""
    settled_by: dict[str, Entry]
    """For a question: the entry that settled it, with the body that counts; absent while it waits."""


def resolve(ordered: Sequence[Entry]) -> Resolved:
    """Work out which of a job's entries count.

    An entry can only act on one that sorts before it, so going from the last to the first, all that can be said about
    an entry is known when its turn comes: no cycle can arise, and the order of arrival does not matter. A withdrawal
    removes its target, and with it whatever the target did: taking back a correction, an answer or a withdrawal
    restores what was there. Of several corrections and answers the last that counts gives the body. The job's opening
    cannot be taken back, only corrected by another opening.
    """
    at = {entry.id: entry for entry in ordered}
    place = {entry.id: number for number, entry in enumerate(ordered)}
    opening = next((entry.id for entry in ordered if isinstance(entry.body, JobOpened)), None)
    withdrawn: set[str] = set()
    said: dict[str, tuple[Body | None, Entry]] = {}
    effective: dict[str, Entry] = {}
    acts: dict[str, list[str]] = {}
    for entry in reversed(ordered):
        raw = target_of(entry.body)
        if raw is not None and not isinstance(entry.body, PartAnswer | Seen) and raw in at:
            acts.setdefault(raw, []).append(entry.id)
        if entry.id in withdrawn:
            continue
        body, certainty = _current(entry, said.get(entry.id))
        target = at.get(target_of(body) or "") if isinstance(body, Correction | Withdrawal | Answer) else None
        if target is not None and place[target.id] < place[entry.id]:
            _act(body, entry, target, opening, withdrawn, said)
        if body is not None and not isinstance(body, Correction | Withdrawal):
            effective[entry.id] = entry if body is entry.body else replace(entry, body=body, certainty=certainty)
    settled = {}
    for entry_id, (_, by) in said.items():
        if isinstance(at[entry_id].body, Question):
            settled[entry_id] = by
    return Resolved(
        effective={entry.id: effective[entry.id] for entry in ordered if entry.id in effective},
        replaced_by={target: tuple(reversed(by)) for target, by in acts.items()},
        settled_by=settled,
    )


def _current(entry: Entry, said: tuple[Body | None, Entry] | None) -> tuple[Body | None, float]:
    """The body that counts for an entry, after what was said about it later."""
    if said is None:
        return entry.body, entry.certainty
    new, by = said
    if isinstance(entry.body, Correction | Answer):
        assert new is not None  # only a question can be answered with nothing
        # What corrects an act by a plain fact changes what the act says, not whom it is about.
        if target_of(new) is None:
            act = entry.body
            new = Correction(act.target, new) if isinstance(act, Correction) else Answer(act.question, body=new)
    return new, by.certainty


def _act(
    body: Body | None,
    entry: Entry,
    target: Entry,
    opening: str | None,
    withdrawn: set[str],
    said: dict[str, tuple[Body | None, Entry]],
) -> None:
    """Let an entry's body do its work on the target; the last to speak about a target has already done so."""
    match body:
        case Withdrawal() if target.id != opening:
            withdrawn.add(target.id)
        case Correction() if target.id not in said and (target.id != opening or isinstance(body.body, JobOpened)):
            said[target.id] = (body.body, replace(entry, body=body))
        case Answer() if target.id not in said and isinstance(target.body, Question):
            if body.choice is None or body.body is not None or 0 <= body.choice < len(target.body.options):
                said[target.id] = (_answered(target.body, body), replace(entry, body=body))
        case _:
            pass


def _answered(question: Question, answer: Answer) -> Body | None:
    if answer.body is not None:
        return answer.body
    return None if answer.choice is None else question.options[answer.choice]
