"""Sound into a session: utterances are cut out, heard by every listener, decided on, entered and answered."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from threading import Event

from journal.errors import HearingError
from journal.facts import Cut, Note, Withdrawal
from journal.hearing.ahead import ahead
from journal.hearing.apart import TOLD_S, Apart
from journal.hearing.choose import recognisers
from journal.hearing.endpoint import Endpointer, Growing, Pause, utterances
from journal.hearing.modelfile import Floats
from journal.hearing.sources import blocks_from_file, blocks_from_stdin
from journal.hearing.types import Candidate, Expect, Follower, Hearing, Recogniser, Sound, Utterance, Weigher
from journal.live import LivePage
from journal.outcome import Foreseen, Outcome
from journal.output.cautions import as_it_begins
from journal.output.speaking import Answerer, answerer, unheard
from journal.phone import Phone
from journal.record.clips import drop_if_unused, keep_clip
from journal.session import Session
from journal.wording import Context, decide_text, speakable
from journal.wording.hypotheses import opened
from journal.wording.tokens import tokenise
from journal.wording.types import Verdict

NOT_HEARD = "something was said here and could not be recognised: play its sound"
"""The note that keeps the sound at which a recogniser failed."""


@dataclass(frozen=True)
class Pooled:
    """What all listeners together made of one utterance."""

    candidates: tuple[Candidate, ...]
    """Every candidate of every listener."""
    free_text: str = ""
    """The best unconstrained text, where a listener makes one."""
    seconds: float = 0.0
    """From its first to its last speech."""


class Ears:
    """One or more recognisers that hear the same utterances."""

    def __init__(self, listeners: Sequence[Recogniser], attention: str = "") -> None:
        """Hear through these, in this order; with an attention word, nothing counts that does not begin with it."""
        self.listeners = tuple(listeners)
        self._attention = attention
        self._tell: Callable[[str], None] = lambda line: None
        self._weigher = next((each for each in listeners if isinstance(each, Weigher)), None)
        # One thread each: they spend their time outside Python.
        self._side_by_side = ThreadPoolExecutor(max(1, len(self.listeners)), thread_name_prefix="listener")

    @classmethod
    def open(
        cls,
        names: Sequence[str],
        model: Path | None,
        models_home: Path,
        cylinders: int | None,
        attention: str = "",
        *,
        led: bool = False,
        own: Mapping[str, Floats] | None = None,
    ) -> Ears:
        """Load recognisers by name for an engine with so many cylinders (none: as many as there may be).

        `led` where the journal leads the test, so that what is only said then is listened for; `own` are the
        technician's own adapters for the ear.

        Raises:
            HearingError: when one is unknown or cannot be had.
            BadInput: when the attention word cannot be used.
        """
        can_be_said = speakable(cylinders, attention, led=led)
        return cls(recognisers(names, can_be_said, model, models_home, own), attention)

    def tell_through(self, tell: Callable[[str], None]) -> None:
        """Have said which listener keeps one waiting, through what takes a line."""
        self._tell = tell
        for each in self.listeners:
            if isinstance(each, Apart):
                each.tell = tell

    def hear(self, utterance: Utterance, expect: Expect = Expect.ANYTHING) -> Pooled:
        """One utterance through every listener.

        Where they differ, the one that can give a text's likelihood looks at it again with the others' texts in hand.

        Raises:
            HearingError: when a recogniser cannot go on.
        """
        running = [self._side_by_side.submit(each.hear, utterance.sound, expect) for each in self.listeners]
        _, late = wait(running, TOLD_S)
        for each, made in zip(self.listeners, running, strict=True):
            # One in a process of its own says so itself, and can be ended.
            if made in late and not isinstance(each, Apart):
                self._tell(f"{each.name} has not answered for {TOLD_S:g} s")
        return self.pool(utterance, [made.result() for made in running])

    def follow(self, sound: Sound) -> str:
        """Lets those that can take in an utterance so far; what one makes of it, empty where none says.

        Raises:
            HearingError: when a recogniser cannot go on.
        """
        told = [each.follow(sound) for each in self.listeners if isinstance(each, Follower)]
        text = next((text for text in told if text), "")
        return self._addressed(text) or "" if self._attention else text

    def pool(self, utterance: Utterance, hearings: Sequence[Hearing]) -> Pooled:
        """What the listeners heard, in their order, taken together; see `hear`."""
        made = dict(zip((each.name for each in self.listeners), hearings, strict=True))
        if self._weigher is not None:
            others = [hearing for name, hearing in made.items() if name != self._weigher.name]
            texts = to_weigh(others, made[self._weigher.name].free_text, agreed=agreed(hearings))
            if texts:
                made[self._weigher.name] = self._weigher.weigh(utterance.sound, texts)
        seconds = utterance.end - utterance.start
        # One that has found no phrase at all has not kept silent: it says that there was none.
        candidates = [c for name, h in made.items() for c in h.candidates or (Candidate("", 0.0, name),)]
        free_text = next((h.free_text for h in made.values() if h.free_text), "")
        if self._attention:
            unheeded = bool(free_text) and self._addressed(free_text) is None
            free_text = self._addressed(free_text) or ""
            addressed = [(c, self._addressed(c.text) if c.text else "") for c in candidates]
            candidates = [replace(c, text=text) for c, text in addressed if text is not None]
            if unheeded:
                # Held to the phrases they hear the word in anything.
                candidates = [c for c in candidates if not c.text]
        return Pooled(tuple(sorted(candidates, key=lambda c: -c.score)), free_text, seconds)

    def _addressed(self, text: str) -> str | None:
        """What follows the attention word; none where the text does not begin with it."""
        first, _, rest = text.strip().partition(" ")
        return rest if first.lower().strip(".,!?") == self._attention else None


def to_weigh(others: Sequence[Hearing], free_text: str, *, agreed: bool = False) -> list[str]:
    """What a listener is asked how likely it holds it: what others heard, and a note whose first word was misheard.

    Where they have agreed, there is only the note to ask about.
    """
    texts = [c.text for hearing in others for c in hearing.candidates if c.text and "[" not in c.text and not agreed]
    return texts + [" ".join(token.text for token in tokenise(text)) for text in opened(free_text)]


def agreed(hearings: Sequence[Hearing]) -> bool:
    """Whether the best text of each listener means the same, taken as typed."""
    tops = [h.candidates[0].text for h in hearings if h.candidates]
    meanings = {tuple(d.meaning for d in decide_text(text, Context())) for text in tops}
    return len(tops) == len(hearings) and len(meanings) == 1 and meanings != {(None,)}


@dataclass(frozen=True)
class Listening:
    """How to listen."""

    source: Path | None = None
    """A recording, `-` for raw sound on standard input, none for the microphone."""
    phone: Phone | None = None
    """The phones of the job, instead of any of these."""
    rate: int = 16_000
    """Samples per second of raw sound, 16-bit mono."""
    device: str | None = None
    """Part of the microphone's name."""
    began: datetime | None = None
    """When a recording began; none to date its entries when they are made."""
    voice: str = "silent"
    """How to answer: silent, tones or spoken. A phone answers by itself in any case."""
    lead: bool = False
    """Whether the journal leads the test."""
    keep_all: bool = False
    """Whether to keep the sound of what was let go too."""
    tell: Callable[[str], None] = lambda line: None
    """Takes a line when the microphone is lost, is back, sound was dropped, or a recogniser hangs."""
    stop: Event = field(default_factory=Event)
    """Once it is set, what was said so far is heard to its end, and no more."""

    @property
    def live(self) -> bool:
        """Whether sound comes in as it is said."""
        return self.phone is not None or self.source is None or str(self.source) == "-"


@dataclass(frozen=True)
class HeardOne:
    """One utterance with what became of it."""

    utterance: Utterance
    """Its sound and place."""
    text: str
    """The best text for it; empty when it was no speech to any listener."""
    outcomes: tuple[Outcome, ...] = field(default=())
    """What became of each thing said in it."""


def utterances_of(file: Path) -> Iterator[Utterance]:
    """The utterances of a recording.

    Raises:
        HearingError: when the file is missing or is no sound.
    """
    return utterances(blocks_from_file(file))


def listen(session: Session, ears: Ears, how: Listening, page: LivePage | None = None) -> Iterator[HeardOne]:
    """Hear until the source ends or is told to; each utterance is on disk before it is yielded.

    Sound that comes in as it is said may yield an utterance when it seems over and once more when it went on.

    Raises:
        HearingError: when the source or a recogniser cannot go on.
        RecordError: when an entry could not be written.
    """
    answers = answerer(how.voice) if how.phone is None else Answerer(partial(_answer_there, how.phone))
    ears.tell_through(how.tell)
    told = False
    page = page or LivePage(session.store.folder, session.job_id)
    blocks = _until(how.stop, _blocks(how, answers))
    if not how.live:
        page.recording()
    if how.lead:
        line = session.lead_on()
        answers.answer(Verdict.TAKE, line)
        page.leads(_cylinder_asked(session), line)
    road = _Road(session, ears, how, page)
    known = len(session.job.runs)
    try:
        for utterance, guess, over in _hurried(road, blocks) if how.live else _unhurried(blocks):
            before = road.entered
            heard = road.take(utterance, guess, over=over)
            if over:
                if how.phone is not None:
                    how.phone.taken(utterance)
                runs = session.job.runs
                careful, known = as_it_begins(runs, known), len(runs)
                for outcome in heard.outcomes:
                    if outcome.say or outcome.verdict is not Verdict.TAKE:
                        answers.answer(outcome.verdict, f"{careful} {outcome.say}".strip())
                        careful = ""
                if how.lead:
                    page.leads(_cylinder_asked(session), session.asks)
            if answers.failed and not told:
                how.tell(answers.failed)
                told = True
            if not before or heard.outcomes != before:
                yield replace(heard, outcomes=tuple(o for o in heard.outcomes if o not in before))
    finally:
        answers.close()


_Cut = tuple[Utterance, "_Guess | None", bool]
"""An utterance, what was made of it where nothing was said since, and whether it is over or may go on."""


def _unhurried(blocks: Iterator[Sound]) -> Iterator[_Cut]:
    """The utterances of a recording, which is cut alike whenever it is heard."""
    return ((utterance, None, True) for utterance in ahead(utterances(blocks)))


def _hurried(road: _Road, blocks: Iterator[Sound]) -> Iterator[_Cut]:
    """Utterances that are heard while they are said."""
    endpointer = Endpointer()
    guess: _Guess | None = None
    for cut in ahead(endpointer.cut(road.page.metered(blocks))):
        match cut:
            case Growing(sound):
                road.follow(sound)
            case Pause(utterance, likely):
                if endpointer.still(cut) and not (guess is not None and guess.stands_for(utterance)):
                    road.forget(guess)
                    guess = road.guess(utterance)
                    if not guess.foreseen.certain:
                        road.follow(utterance.sound)
                if guess is not None and guess.foreseen.complete and endpointer.end(cut):
                    yield utterance, guess, True
                    guess = None
                elif guess is not None and likely and guess.foreseen.enters and endpointer.still(cut):
                    yield utterance, guess, False
            case Utterance():
                if guess is not None and not guess.stands_for(cut):
                    road.forget(guess)
                    guess = None
                yield cut, guess, True
                guess = None


_NOTHING_FORESEEN = Foreseen(certain=False, complete=False)


@dataclass(frozen=True)
class _Guess:
    """What was made of an utterance at its last pause, before it was known to be over."""

    utterance: Utterance
    clip: str
    pooled: Pooled | None
    """None where a recogniser could not go on."""
    foreseen: Foreseen = _NOTHING_FORESEEN

    def stands_for(self, utterance: Utterance) -> bool:
        """Whether nothing was said since, and there is no more silence to hear weak endings in, or no need of it."""
        mine = self.utterance
        if (mine.start, mine.end) != (utterance.start, utterance.end):
            return False
        return self.foreseen.certain or len(mine.sound) == len(utterance.sound)


class _Road:
    """From an utterance to its entries, with what was entered of one that may go on."""

    def __init__(self, session: Session, ears: Ears, how: Listening, page: LivePage) -> None:
        self.page = page
        self.entered: tuple[Outcome, ...] = ()
        self._session = session
        self._ears = ears
        self._how = how

    def guess(self, utterance: Utterance) -> _Guess:
        """What is made of an utterance that may be over; its sound is kept."""
        clip = keep_clip(self._session.store.folder, utterance.sound)
        try:
            pooled = self._ears.hear(utterance)
        except HearingError:
            return _Guess(utterance, clip, None)
        foreseen = self._session.foresee(
            pooled.candidates, free_text=pooled.free_text, seconds=pooled.seconds, entered=self.entered
        )
        return _Guess(utterance, clip, pooled, foreseen)

    def forget(self, guess: _Guess | None) -> None:
        """Drops the sound of a guess that no entry was made of."""
        if guess is not None:
            drop_if_unused(self._session.store, guess.clip)

    def follow(self, sound: Sound) -> None:
        """Shows what is made of an utterance so far."""
        # One that cannot go on says so when the utterance is over and its sound is kept.
        with contextlib.suppress(HearingError):
            if text := self._ears.follow(sound):
                self.page.hearing(self._session.clock(), text)

    def take(self, utterance: Utterance, guess: _Guess | None, *, over: bool) -> HeardOne:
        """Enters what was said.

        Raises:
            HearingError: when a recogniser cannot go on; the sound is kept with a note.
            RecordError: when an entry could not be written.
        """
        session = self._session
        clock = session.clock
        if self._how.phone is not None:
            session.clock = partial(self._how.phone.said_at, utterance)
        elif self._how.began is not None:
            session.clock = partial(_said_at, self._how.began, utterance)
        try:
            heard = self._taken(utterance, guess)
        finally:
            session.clock = clock
        stand = (each for each in heard.outcomes if each.entry and not isinstance(each.entry.body, Withdrawal))
        self.entered = () if over else tuple(stand)
        return heard

    def _taken(self, utterance: Utterance, guess: _Guess | None) -> HeardOne:
        session = self._session
        # The clip is kept before the entries that name it, so that no entry can point at a sound that is not there,
        # and before it is heard, so that a recogniser that dies takes no reading with it.
        clip = guess.clip if guess is not None else keep_clip(session.store.folder, utterance.sound)
        pooled = guess.pooled if guess is not None else None
        if pooled is None:
            try:
                pooled = self._ears.hear(utterance)
            except HearingError:
                session.enter(Note(NOT_HEARD), clip=clip)
                raise
        said, free_text, seconds = pooled.candidates, pooled.free_text, pooled.seconds
        if self.entered:
            outcomes = tuple(session.go_on(self.entered, said, free_text=free_text, seconds=seconds, clip=clip))
        else:
            outcomes = tuple(session.hear(said, free_text=free_text, seconds=seconds, clip=clip))
        text = (said[0].text if said else "") or free_text
        if not self._how.keep_all and all(outcome.entry is None or outcome in self.entered for outcome in outcomes):
            drop_if_unused(session.store, clip)
        if outcomes != self.entered or not outcomes:
            verdicts = [outcome.verdict for outcome in outcomes]
            verdict = next((v for v in (Verdict.ASK, Verdict.TAKE) if v in verdicts), Verdict.LET_GO)
            made = "; ".join(outcome.line for outcome in outcomes)
            self.page.heard(session.clock(), text, made, verdict.value)
        return HeardOne(utterance, text, outcomes)


def _said_at(began: datetime, utterance: Utterance) -> datetime:
    return began + timedelta(seconds=utterance.start)


def _answer_there(phone: Phone, verdict: Verdict, text: str) -> None:
    phone.answer(verdict.value, text)


def _cylinder_asked(session: Session) -> int | None:
    asked = session.asked_for(session.job)
    return asked.cylinder if isinstance(asked, Cut) else None


def _until(stop: Event, blocks: Iterator[Sound]) -> Iterator[Sound]:
    for block in blocks:
        if stop.is_set():
            return
        yield block


def _blocks(how: Listening, answers: Answerer) -> Iterator[Sound]:
    if how.phone is not None:
        return iter(how.phone)
    if how.source is None:
        from journal.hearing.microphone import blocks_from_microphone

        return unheard(blocks_from_microphone(how.device, how.tell), lambda: answers.sounding)
    if str(how.source) == "-":
        return blocks_from_stdin(how.rate)
    return blocks_from_file(how.source)
