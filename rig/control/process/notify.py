"""Notifications to systemd: ready, alive, status.

The protocol is a datagram of `KEY=VALUE` lines to the socket that NOTIFY_SOCKET names (manual page
sd_notify(3)); a name that begins with @ is in the abstract namespace.
"""

import os
import socket
from collections.abc import Mapping

from rig.clock import Clock


class Notifier:
    """Sends nothing when no service manager listens.

    Args:
        clock: times the signs of life.
        environment: holds the manager's variables.
    """

    def __init__(self, clock: Clock, environment: Mapping[str, str] = os.environ) -> None:
        self._clock = clock
        address = environment.get("NOTIFY_SOCKET", "")
        self._address = "\0" + address[1:] if address.startswith("@") else address
        watchdog_us = environment.get("WATCHDOG_USEC", "")
        is_mine = environment.get("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
        self.period_s = int(watchdog_us) / 4e6 if watchdog_us.isdigit() and is_mine else None
        """Interval of signs of life; None if none are expected."""
        self._due_s = float("-inf")
        self._status = ""

    @property
    def is_listening(self) -> bool:
        """Whether a service manager listens."""
        return bool(self._address)

    def ready(self) -> None:
        """The service has begun."""
        self._send("READY=1")

    def stopping(self) -> None:
        """The service is about to end."""
        self._send("STOPPING=1")

    def status(self, text: str) -> None:
        """One line for `systemctl status`."""
        if text != self._status:
            self._status = text
            self._send("STATUS=" + text.replace("\n", " "))

    def alive(self) -> None:
        """Send a sign of life, no more often than needed."""
        now_s = self._clock.time_s()
        if self.period_s is not None and now_s >= self._due_s:
            self._due_s = now_s + self.period_s
            self._send("WATCHDOG=1")

    def _send(self, text: str) -> None:
        if not self._address:
            return
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as sender:
                sender.settimeout(0.2)
                sender.sendto(text.encode(), self._address)
        except OSError:
            return  # the manager is gone; the machine continues under its own watchdog
