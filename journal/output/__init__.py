"""Findings out to people."""
