"""Sound in, candidate texts out."""
