"""The body of any entry to a short line for a list: what wording says of it, and the rest in the same manner."""

from __future__ import annotations

from journal.facts import (
    Answer,
    Body,
    Check,
    Correction,
    EngineChanged,
    GateOverridden,
    JobClosed,
    JobOpened,
    JobReopened,
    PartAnswer,
    Photo,
    PhotoMark,
    PhotoPlaced,
    Question,
    RunStarted,
    Seen,
    Withdrawal,
    WriteUpEdited,
)
from journal.output.words import answer_words, check_text, run_title
from journal.wording import describe


def said(body: Body) -> str:
    """A body in a line, with a capital."""
    words = _said(body)
    return words[:1].title() + words[1:]


def _said(body: Body) -> str:
    match body:
        case JobOpened(unit, engine, complaint):
            return f"job opened: {unit}, {engine.cylinders} cylinders{f', {complaint}' if complaint else ''}"
        case EngineChanged(engine):
            return f"engine changed: {engine.cylinders} cylinders, {engine.arrangement}, {engine.injection}"
        case Check():
            return check_text(body)
        case RunStarted():
            return f"run: {run_title(body)}"
        case Photo(_, name, subject, cylinder):
            return f"photo: {_place(subject, cylinder) if subject else name}"
        case PhotoPlaced(_, subject, cylinder):
            return f"photo placed: {_place(subject, cylinder)}"
        case PhotoMark(_, shape, text=text):
            return f"{shape} drawn on a photo{f': {text}' if text else ''}"
        case Seen(_, _, written, label):
            return f"on a photo: {label} {written}"
        case PartAnswer():
            return ", ".join([f"part {body.state}", *answer_words(body)])
        case Question(prompt):
            return prompt
        case Answer(_, choice, None):
            return "neither of the answers" if choice is None else f"answer {choice + 1}"
        case Answer(_, _, meant) if meant is not None:
            return f"answered: {_said(meant)}"
        case Correction(_, new):
            return f"corrected to {_said(new)}"
        case Withdrawal():
            return "taken back"
        case GateOverridden(cause, cylinder, reason):
            return f"ordered all the same for {_place(cause.replace('_', ' '), cylinder)}: {reason}"
        case WriteUpEdited(section, text):
            return f"write-up, {section}: {text or 'as generated'}"
        case JobClosed(cause, cylinder, text):
            return f"job closed: {_place(cause.replace('_', ' '), cylinder)}{f', {text}' if text else ''}"
        case JobReopened():
            return "job reopened"
        case _:
            return describe(body)


def _place(subject: str, cylinder: int | None) -> str:
    return f"{subject}, cylinder {cylinder}" if cylinder else subject
