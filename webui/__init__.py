"""The Flask application over one journal."""
