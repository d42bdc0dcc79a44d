"""The browser of whoever started the journal: let in by the address that is shown there."""

from __future__ import annotations

from flask import Flask
from flask.testing import FlaskClient


def own_browser(app: Flask) -> FlaskClient:
    """A browser of the journal's own machine that was let in."""
    client = app.test_client()
    assert client.get(app.extensions["journal"].entrance.path).location == "/"
    return client
