"""The one family of errors that a user can meet: each message names the thing, what is wrong and what to do."""


class JournalError(Exception):
    """Something a user did or met; its text is one line that says what to do."""


class BadInput(JournalError):
    """What was typed, said or given cannot be used as it is."""


class NotFound(JournalError):
    """A job, an entry, a file, a model or a photo that is not there."""


class RecordError(JournalError):
    """The journal on disk cannot be read or written; nothing was acknowledged that is not on disk."""


class HearingError(JournalError):
    """A sound source, a recogniser or a speech model cannot be used."""


class WrongEngine(BadInput):
    """The engine's layout contradicts itself, or a cylinder is not on this engine."""
