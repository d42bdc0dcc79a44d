"""Texts in, entries out, and back."""
