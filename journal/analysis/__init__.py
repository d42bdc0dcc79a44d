"""A job in, findings out; pure functions."""

from journal.analysis.diagnose import diagnose
from journal.analysis.findings import Findings
from journal.analysis.findings_json import findings_to_json
from journal.analysis.settings import Settings, settings_from_toml

__all__ = ["Findings", "Settings", "diagnose", "findings_to_json", "settings_from_toml"]
