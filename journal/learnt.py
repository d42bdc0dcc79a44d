"""What was not understood and what it was put right to, over all jobs, in; what the like of it stands for now, out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from journal.facts import kind_of
from journal.record.job import Job
from journal.record.store import Store
from journal.wording.numbers import HOMOPHONES, readings
from journal.wording.tokens import tokenise

_ANY_NUMBER = "#"


@dataclass(frozen=True)
class Learnt:
    """Words that were not understood, and what was made of them; `#` stands for any number."""

    heard: str
    """What was heard."""
    meant: str
    """The words that it was put right with."""
    kind: str
    """The kind of entry that came of it, as in `KINDS`."""
    times: int
    """How often."""


@dataclass(frozen=True)
class _Mended:
    """One time that something was put right."""

    heard: str
    """What was heard."""
    meant: str
    """The words for it, or the kind of its entry where there are none."""
    kind: str
    """The kind of its entry."""


def learnt(store: Store) -> list[Learnt]:
    """What all jobs' mendings have made of what was not understood, the most frequent first."""
    found: Counter[tuple[str, str, str]] = Counter()
    for job_id in store.jobs_not_understood():
        for one in _mended(store.job(job_id)):
            found[pattern(one.heard), pattern(one.meant), one.kind] += 1
    return [Learnt(*what, times) for what, times in sorted(found.items(), key=lambda item: (-item[1], item[0]))]


class Shop:
    """What one shop says in words of its own, for a session: other jobs are read once, its own whenever it is asked."""

    def __init__(self, store: Store) -> None:
        """Args: store, where the jobs are."""
        self._store = store
        self._others: list[_Mended] | None = None

    def words_for(self, heard: str, job: Job) -> str:
        """What the like of it was put right to, with the numbers that are said now.

        Args:
            heard: what was not understood.
            job: the session's own, as it stands.

        Returns:
            Words to be understood; empty where nothing like it was put right, or not to one thing only.
        """
        if self._others is None:
            others = [job_id for job_id in self._store.jobs_not_understood() if job_id != job.id]
            self._others = [one for job_id in others for one in _mended(self._store.job(job_id))]
        shape, numbers = _apart(heard)
        ways = set()
        for one in (*self._others, *_mended(job)):
            was, its_numbers = _apart(one.heard)
            if was == shape:
                ways.add(_said_with(one.meant, its_numbers, numbers))
        return ways.pop() if len(ways) == 1 else ""


def _said_with(meant: str, was: list[str], now: list[str]) -> str:
    """Words with each number replaced by what is said now where it was said then; empty where that is not plain."""
    shape, numbers = _apart(meant)
    if len(set(was)) != len(was) or any(number not in was for number in numbers):
        return ""
    said = iter(now[was.index(number)] for number in numbers)
    return " ".join(next(said) if word == _ANY_NUMBER else word for word in shape)


def _mended(job: Job) -> Iterator[_Mended]:
    for asked in job.questions:
        if asked.question.body.options or asked.answer is None or asked.answer.body.body is None:
            continue
        kind = kind_of(asked.answer.body.body)
        yield _Mended(asked.question.entry.heard, asked.answer.entry.heard or kind, kind)


def pattern(text: str) -> str:
    """Words with a `#` for every number: "knock four down, 38" and "knock five down, 37" are "knock # down #"."""
    return " ".join(_apart(text)[0])


def _apart(text: str) -> tuple[tuple[str, ...], list[str]]:
    """Words with a `#` for every number, and the numbers in figures."""
    words = [token.text for token in tokenise(text)]
    shape: list[str] = []
    numbers: list[str] = []
    at = 0
    while at < len(words):
        found = [] if words[at] in HOMOPHONES else readings(words, at)
        longest = max(found, key=lambda reading: reading.end, default=None)
        shape.append(words[at] if longest is None else _ANY_NUMBER)
        if longest is not None:
            numbers.append(f"{longest.value:g}")
        at = at + 1 if longest is None else longest.end
    return tuple(shape), numbers
