"""Where a journal lives on this machine: the folder asked for, the environment's, or the platform's usual place."""

from __future__ import annotations

import os
from pathlib import Path

VARIABLE = "JOURNAL_FOLDER"
"""Environment variable that names the journal's folder."""


def journal_folder(asked: Path | None = None) -> Path:
    """The folder of the journal: `asked`, else the environment's, else the platform's folder for user data."""
    if asked is not None:
        return asked
    if named := os.environ.get(VARIABLE):
        return Path(named)
    from platformdirs import user_data_path

    return user_data_path("cutout-journal", appauthor=False)


def models_folder(folder: Path) -> Path:
    """Where a journal keeps the speech models that were fetched for it."""
    return folder / "models"
