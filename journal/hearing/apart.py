"""A recogniser in a process of its own: it hears beside the others, and takes nothing with it when it dies.

PocketSphinx keeps Python to itself while it works; in a thread it would hold up the listener beside it.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import signal
from collections.abc import Callable
from multiprocessing.connection import Connection
from threading import Lock

from journal.errors import HearingError
from journal.hearing.types import Expect, Hearing, Recogniser, Sound

_PATIENCE_S = 60.0
"""A recogniser that says nothing for so long is taken for dead."""


class Apart:
    """See `Recogniser`; started anew, once for each utterance, when its process has ended."""

    def __init__(self, name: str, make: Callable[[], Recogniser]) -> None:
        """Starts loading; `ready` waits for it.

        Args:
            name: the recogniser's name.
            make: loads it; must survive pickling.
        """
        self.name = name
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
                self._answer()
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

    def note(self, sound: Sound) -> str:
        """See `Recogniser.note`."""
        return str(self._ask("note", sound))

    def close(self) -> None:
        """Ends its process."""
        self._pipe.close()
        self._process.join(_PATIENCE_S)

    def _ask(self, *what: object) -> object:
        with self._lock:
            try:
                return self._exchange(what)
            except OSError:
                self._process.kill()
                self._start()
            try:
                return self._exchange(what)
            except OSError as error:
                raise HearingError(f"{self.name} ends whenever it hears; use another --listener") from error

    def _exchange(self, what: tuple[object, ...]) -> object:
        self.ready()
        with contextlib.suppress(HearingError):
            self._caught_up()
        self._followed = ""
        self._pipe.send(what)
        return self._answer()

    def _caught_up(self) -> None:
        """Waits for what it makes of the sound that it was last to follow."""
        if self._following:
            self._following = False
            self._followed = str(self._answer())

    def _answer(self) -> object:
        try:
            if not self._pipe.poll(_PATIENCE_S):
                raise TimeoutError
            answer = self._pipe.recv()
        except EOFError as error:
            raise ConnectionResetError from error
        if isinstance(answer, HearingError):
            raise answer
        return answer

    def _start(self) -> None:
        spawn = multiprocessing.get_context("spawn")
        self._pipe, theirs = spawn.Pipe()
        self._process = spawn.Process(target=_work, args=(theirs, self._make), name=self.name, daemon=True)
        self._process.start()
        # With our copy of its end closed, the death of either side ends the other's waiting.
        theirs.close()
        self._loaded = self._following = False


def _work(pipe: Connection, make: Callable[[], Recogniser]) -> None:
    # Ctrl-C is for the session, which ends this by closing the pipe.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
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
