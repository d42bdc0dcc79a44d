"""A voice- and photo-assisted job journal for cylinder cut-out tests."""
