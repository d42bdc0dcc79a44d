"""The jobs board: every job with its state, newest first."""

from __future__ import annotations

from flask import Blueprint, render_template
from flask.typing import ResponseReturnValue

from webui.shop import shop

pages = Blueprint("board", __name__)


@pages.get("/")
def board() -> ResponseReturnValue:
    """The list of jobs."""
    return render_template("board.html", jobs=shop().store.jobs())
