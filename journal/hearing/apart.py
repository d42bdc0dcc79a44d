"""A recogniser in a process of its own: it hears beside the others, and takes nothing with it when it dies.

PocketSphinx keeps Python to itself while it works; in a thread it would hold up the listener beside it.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import signal
from collections.abc import Callable
from multiprocessing.connection import Connection
from threading import Lock, Thread

import numpy as np

from journal.errors import HearingError
from journal.hearing.types import RATE, Expect, Hearing, Recogniser, Sound

LOADING_S = 60.0
"""A recogniser that is not loaded after so long is taken for dead."""
TOLD_S = 3.0
"""One that has not answered after so long is told of."""
PATIENCE_S = 10.0
"""One that has not answered after so long hangs: it is ended and started again; longer where the sound is long."""
_FOR_EACH_SECOND = 2.0
"""Seconds that a second of sound may take on a slow machine."""


class Apart:
    """See `Recogniser`; started anew, once for each utterance, when its process has ended."""

    def __init__(self, name: str, make: Callable[[], Recogniser]) -> None:
        """Starts loading; `ready` waits for it.

        Args:
            name: the recogniser's name.
            make: loads it; must survive pickling.
        """
        self.name = name
        self.tell: Callable[[str], None] = lambda line: None
        """Takes a line when it keeps one waiting, and when it is started again."""
        self._make = make
        self._lock = Lock()
        self._loaded = False
        self._following = False
        self._followed = ""
        self._start()

    def ready(self) -> None:
        """Returns when it is loaded.

        Raises:
            HearingError: it cannot be loaded.
        """
        if not self._loaded:
            try:
                self._answer(LOADING_S)
            except OSError as error:
                raise HearingError(f"{self.name} cannot be started; use another --listener") from error
            self._loaded = True

    def hear(self, sound: Sound, expect: Expect = Expect.ANYTHING) -> Hearing:
        """See `Recogniser.hear`."""
        heard = self._ask("hear", sound, expect)
        assert isinstance(heard, Hearing)
        return heard

    def follow(self, sound: Sound) -> str:
        """See `Follower.follow`.

        It is not waited for: what it tells is of the sound before, and what comes while it is busy waits for the next.
        """
        with self._lock:
            # One that has died, or cannot go on, says so when it is to hear.
            with contextlib.suppress(OSError, HearingError):
                if self._following and not self._pipe.poll():
                    return self._followed
                self.ready()
                self._caught_up()
                self._pipe.send(("follow", sound))
                self._following = True
            return self._followed

    def close(self) -> None:
        """Ends its process."""
        self._giving.join(PATIENCE_S)
        if not self._giving.is_alive():
            self._pipe.close()
            self._process.join(PATIENCE_S)
        if self._giving.is_alive() or self._process.is_alive():
            self._end()

    def _ask(self, *what: object) -> object:
        with self._lock:
            try:
                return self._exchange(what)
            except TimeoutError:
                self.tell(f"{self.name} hangs: it is ended and started again, and the same is heard once more")
            except OSError:
                self.tell(f"{self.name} has ended: it is started again, and the same is heard once more")
            self._again()
            try:
                return self._exchange(what)
            except TimeoutError as error:
                self._again()
                raise HearingError(f"{self.name} hangs at this sound each time; use another --listener") from error
            except OSError as error:
                raise HearingError(f"{self.name} ends whenever it hears; use another --listener") from error

    def _exchange(self, what: tuple[object, ...]) -> object:
        self.ready()
        with contextlib.suppress(HearingError):
            self._caught_up()
        self._followed = ""
        self._pipe.send(what)
        seconds = sum(len(each) for each in what if isinstance(each, np.ndarray)) / RATE
        return self._answer(max(PATIENCE_S, _FOR_EACH_SECOND * seconds))

    def _caught_up(self) -> None:
        """Waits for what it makes of the sound that it was last to follow."""
        if self._following:
            self._following = False
            self._followed = str(self._answer(PATIENCE_S))

    def _answer(self, patience_s: float) -> object:
        """What it says next; `TimeoutError` when it says nothing, another `OSError` when it has ended."""
        try:
            # One that loads is waited for by whoever started it, and need not be told of.
            soon = patience_s if not self._loaded else min(TOLD_S, patience_s)
            if not self._pipe.poll(soon):
                if soon < patience_s:
                    self.tell(f"{self.name} has not answered for {TOLD_S:g} s; after {patience_s:g} s it is ended")
                if soon == patience_s or not self._pipe.poll(patience_s - soon):
                    raise TimeoutError
            answer = self._pipe.recv()
        except EOFError as error:
            raise ConnectionResetError from error
        if isinstance(answer, HearingError):
            raise answer
        return answer

    def _again(self) -> None:
        self._end()
        self._start()

    def _end(self) -> None:
        self._process.kill()
        self._process.join()
        self._giving.join()
        self._pipe.close()

    def _start(self) -> None:
        spawn = multiprocessing.get_context("spawn")
        self._pipe, theirs = spawn.Pipe()
        self._process = spawn.Process(target=_work, args=(theirs,), name=self.name, daemon=True)
        self._process.start()
        # With our copy of its end closed, the death of either side ends the other's waiting.
        theirs.close()
        # What it is made of is more than a pipe holds: given with the process itself, one that died or hung before it
        # had read that would be waited for without end.
        self._giving = Thread(target=_give, args=(self._pipe, self._make), name=f"{self.name}-start", daemon=True)
        self._giving.start()
        self._loaded = self._following = False


def _give(pipe: Connection, make: Callable[[], Recogniser]) -> None:
    with contextlib.suppress(OSError):  # that it has ended shows when its answer is waited for
        pipe.send(make)


def _work(pipe: Connection) -> None:
    # Ctrl-C is for the session, which ends this by closing the pipe.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        make = pipe.recv()
    except (EOFError, OSError):
        return
    try:
        recogniser = make()
    except HearingError as error:
        pipe.send(error)
        return
    pipe.send(None)
    while True:
        try:
            what, *sound = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            # One that cannot follow has nothing to tell.
            pipe.send(getattr(recogniser, what, lambda _: "")(*sound))
        except HearingError as error:
            pipe.send(error)
