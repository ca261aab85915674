"""What a service tells the service manager, over the datagram socket it is given (systemd's `sd_notify(3)`).

Each message is lines of `NAME=value`; outside a service there is no socket and nothing is sent.
"""

import contextlib
import os
import socket
import time

__all__ = ["ServiceManager"]


class ServiceManager:
    """The way to the service manager.

    Args:
        environment: where `NOTIFY_SOCKET`, `WATCHDOG_USEC` and `WATCHDOG_PID` are looked up; the process's own if None.
    """

    def __init__(self, environment: dict[str, str] | None = None) -> None:
        given = os.environ if environment is None else environment
        self._address = given.get("NOTIFY_SOCKET", "")
        of_us = given.get("WATCHDOG_PID") in (None, "", str(os.getpid()))
        wanted = given.get("WATCHDOG_USEC", "")
        self.watchdog_seconds = int(wanted) / 1e6 if wanted.isdigit() and of_us else 0.0
        """A sign of life is expected at least this often; 0: not at all."""

    @property
    def listening(self) -> bool:
        """Whether there is a service manager to tell anything."""
        return bool(self._address)

    def ready(self, status: str) -> None:
        """Say that the start, or a reload, is over."""
        self._send(f"READY=1\nSTATUS={status}")

    def reloading(self) -> None:
        """Say that the config is read again; `ready` ends it."""
        self._send(f"RELOADING=1\nMONOTONIC_USEC={time.monotonic_ns() // 1000}")

    def stopping(self) -> None:
        """Say that the end has begun."""
        self._send("STOPPING=1")

    def status(self, text: str) -> None:
        """Say in a line how things stand."""
        self._send(f"STATUS={text}")

    def alive(self) -> None:
        """Give the sign of life that the watchdog waits for."""
        self._send("WATCHDOG=1")

    def _send(self, message: str) -> None:
        if not self._address:
            return
        address = "\0" + self._address[1:] if self._address.startswith("@") else self._address
        with (
            contextlib.suppress(OSError),
            socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as way,
        ):
            way.setblocking(False)  # a manager that does not read must not hold up the night
            way.sendto(message.replace("\0", "").encode(), address)
