"""Entries on disk, and the job they replay to."""
