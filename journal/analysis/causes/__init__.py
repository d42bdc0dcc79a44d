"""What is known of a job in, ranked causes out."""

from journal.analysis.causes.rank import cause_keys

__all__ = ["cause_keys"]
