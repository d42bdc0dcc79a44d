"""One cut-out run in, what it says of every cylinder out: one model of all its readings."""
