"""A job in, findings out; pure functions."""
