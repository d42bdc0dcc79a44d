"""Headers on every answer: nothing from elsewhere, no inline script or style, no framing, no guessing of types."""

from __future__ import annotations

from flask import Flask, Response, request

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "media-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
"""Content security policy of every page."""


def guard(app: Flask) -> None:
    """Put the headers on every answer of the application."""

    @app.after_request
    def _headers(response: Response) -> Response:
        response.headers.setdefault("Content-Security-Policy", POLICY)
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["X-Frame-Options"] = "DENY"
        # Not `no-referrer`: a browser would then send `Origin: null` with this site's own forms.
        response.headers["Referrer-Policy"] = "same-origin"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        microphone = "(self)" if request.endpoint == "handset.view" else "()"
        response.headers["Permissions-Policy"] = (
            f"camera=(self), microphone={microphone}, geolocation=(), interest-cohort=()"
        )
        if request.endpoint != "static":
            response.headers.setdefault("Cache-Control", "no-store")
        return response
