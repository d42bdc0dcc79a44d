"""Judged runs in; what they say side by side out: under load, by pressure, again, before and after a repair."""
