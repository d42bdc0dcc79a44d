"""What can be said, from the one definition of it."""

from __future__ import annotations

from flask import Blueprint, render_template
from flask.typing import ResponseReturnValue

from journal.wording import phrases as groups

pages = Blueprint("phrases", __name__)


@pages.get("/phrases")
def phrases() -> ResponseReturnValue:
    """The help page."""
    return render_template("phrases.html", groups=groups())
