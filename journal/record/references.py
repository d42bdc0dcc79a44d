"""Short references to jobs, for people to say and type, and finding the job one means."""

from __future__ import annotations

import uuid

from rapidfuzz import process
from sqlite_utils import Database

from journal.errors import BadInput, NotFound

LETTERS = "BCDFGHJKLMNPQRSTVWXZ"
"""Consonants only: no word comes out by chance, and no letter is taken for a digit."""
SHORTEST = 4
_LONGEST = 12


def code_of(job_id: str) -> str:
    """Twelve letters made from a job identifier's random bits; a job's reference is the shortest free beginning."""
    value = uuid.UUID(job_id).int & (1 << 62) - 1
    letters = []
    for _ in range(_LONGEST):
        value, digit = divmod(value, len(LETTERS))
        letters.append(LETTERS[digit])
    return "".join(letters)


def free_reference(db: Database, code: str) -> str:
    """The shortest beginning of the code, of four letters or more, that no job here has as its reference."""
    for length in range(SHORTEST, len(code)):
        if db.execute("SELECT 1 FROM jobs WHERE reference = ?", [code[:length]]).fetchone() is None:
            return code[:length]
    return code


def find(db: Database, said: str) -> str:
    """Identifier of the job that a reference, or the beginning of an identifier, means.

    Raises:
        NotFound: when there is none, naming the nearest.
        BadInput: when it may mean several.
    """
    word = said.strip()
    if not word:
        raise BadInput("which job: give its reference, four letters or more, as `journal jobs` lists them")
    row = db.execute("SELECT id FROM jobs WHERE reference = ?", [word.upper()]).fetchone()
    if row is not None:
        return str(row[0])
    rows = []
    if len(word) >= SHORTEST and set(word.upper()) <= set(LETTERS):
        rows = _beginning(db, "code", word.upper())
    elif set(word.lower()) <= set("0123456789abcdef-"):
        rows = _beginning(db, "id", word.lower())
    if len(rows) == 1:
        return str(rows[0][0])
    if rows:
        names = ", ".join(str(reference) for _, reference in rows)
        raise BadInput(f"{word!r} may mean several jobs ({names}{' …' if len(rows) > 2 else ''}): give more of it")
    raise NotFound(f"there is no job {word!r}{_nearest(db, word)}")


def _beginning(db: Database, column: str, word: str) -> list[tuple[str, str]]:
    # A range, not LIKE: the index answers it.
    sql = f"SELECT id, reference FROM jobs WHERE {column} >= ? AND {column} < ? ORDER BY number DESC LIMIT 3"
    return list(db.execute(sql, [word, word + "~"]))


def _nearest(db: Database, word: str) -> str:
    rows = db.execute("SELECT jobs.reference, unit FROM jobs JOIN job_lines l ON l.job = jobs.number").fetchall()
    if not rows:
        return ": no job has been opened in this journal yet"
    units = {str(reference): str(unit) for reference, unit in rows}
    near = [match[0] for match in process.extract(word.upper(), list(units), limit=3, score_cutoff=50)]
    near += [str(ref) for ref, unit in units.items() if word.lower() in unit.lower()][: 3 - len(near)]
    if not near:
        return ": `journal jobs` lists them"
    return "; nearest: " + ", ".join(f"{reference} ({units[reference]})" for reference in dict.fromkeys(near))
