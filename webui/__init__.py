"""The Flask pages: watching a job, reviewing it, its photos and write-up, and the parts desk's view."""

from webui.app import create_app

__all__ = ["create_app"]
