"""Ranked causes in, the next check and whether a part may be ordered out."""
