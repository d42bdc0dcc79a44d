"""What each device keeps for itself: light or dark, and who is working at it."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, flash, redirect, request, session
from flask.typing import ResponseReturnValue

from webui.access import back_here

pages = Blueprint("looks", __name__)

_THEMES = ("system", "light", "dark")
_YEAR_S = 365 * 24 * 3600


def theme_now() -> dict[str, Any]:
    """The theme of this device, and what its switch says and sends next."""
    chosen = request.cookies.get("theme", "system")
    theme = chosen if chosen in _THEMES else "system"
    following = {"system": "dark", "dark": "light", "light": "system"}[theme]
    words = {"system": "Auto", "dark": "Dark", "light": "Light"}[theme]
    return {"theme": theme, "next_theme": following, "theme_words": words}


@pages.post("/looks")
def theme() -> ResponseReturnValue:
    """Keep the device's choice of light or dark."""
    answer = redirect(back_here(request.form.get("back", "/")), 303)
    chosen = request.form.get("theme", "system")
    kept = chosen if chosen in _THEMES else "system"
    answer.set_cookie("theme", kept, max_age=_YEAR_S, httponly=True, samesite="Lax")
    return answer


@pages.post("/who")
def who() -> ResponseReturnValue:
    """Keep who is working at this device; entries made here are in that name."""
    session["technician"] = request.form.get("technician", "").strip()[:80]
    flash(f"entries made here are now by {session['technician'] or 'whoever opened the job'}", "good")
    return redirect(back_here(request.form.get("back", "/")), 303)
