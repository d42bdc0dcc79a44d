"""This machine's own address on its network."""

from __future__ import annotations

import socket


def lan_address() -> str:
    """This machine's own address on its network; empty when it has none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Nothing is sent: connecting a datagram socket only asks which of our addresses would be used.
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return ""
        return str(probe.getsockname()[0])
