"""What each camera on a stand has seen up to now, kept while the page is served."""

from __future__ import annotations

import threading
from collections import OrderedDict

from journal.stand import Watch

MOST = 20
"""Cameras that are remembered, the latest to send a frame."""


class Stands:
    """By device and job, what its camera has seen; whoever works on one holds `lock`."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self._kept: OrderedDict[tuple[str, str], Watch] = OrderedDict()

    def of(self, device: str, job: str) -> Watch:
        """What this device's camera has seen of this job; nothing yet where it is new."""
        return self._kept.get((device, job), Watch())

    def keep(self, device: str, job: str, watch: Watch) -> None:
        """Remember what it has seen now; of too many the one that was silent longest is forgotten."""
        self._kept[device, job] = watch
        self._kept.move_to_end((device, job))
        while len(self._kept) > MOST:
            self._kept.popitem(last=False)
