"""A sign of life to somebody else's machine: a dead collector cannot say that it is dead.

A URL of the cook's choice, at a service that alarms when it is no longer called, is called only while all is as it
should be here: readings are fresh, the store is written, every message has gone out.
"""

import asyncio
import logging
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from collector.settings.secret import read_secret
from collector.settings.shape import Heartbeat as HeartbeatTable

if TYPE_CHECKING:
    from aiohttp import ClientSession

__all__ = ["Heartbeat", "HeartbeatOptions", "heartbeat_options"]

log = logging.getLogger(__name__)

TIMEOUT_SECONDS = 10.0


@dataclass(frozen=True, slots=True)
class HeartbeatOptions:
    """What is called, and how often."""

    url: str = field(repr=False)
    every_seconds: float = 60.0


def heartbeat_options(table: HeartbeatTable | None, folder: Path) -> HeartbeatOptions | None:
    """Make the options of a `[heartbeat]` table; its file is taken from `folder`.

    Raises:
        OSError: the file cannot be read.
    """
    if table is None:
        return None
    return HeartbeatOptions((read_secret(folder, table.url_file) or "").strip(), table.every)


class Heartbeat:
    """Calls the URL while all is well.

    Args:
        options: what is called.
        trouble: says why no sign of life may be given now; empty where all is well.
    """

    def __init__(self, options: HeartbeatOptions, trouble: Callable[[], str]) -> None:
        self._options = options
        self._trouble = trouble
        self.held_back = ""
        """Why it was not called the last time, by our doing; empty where it was."""
        self.fault = ""
        """Why the last call did not arrive; empty where it did."""
        self.calls = 0

    async def run(self) -> None:
        """Call until cancelled."""
        import aiohttp

        limit = aiohttp.ClientTimeout(total=TIMEOUT_SECONDS)
        async with aiohttp.ClientSession(timeout=limit) as session:
            while True:
                why = self._trouble()
                if why and why != self.held_back:
                    log.warning("no sign of life is given: %s", why)
                elif self.held_back and not why:
                    log.info("signs of life are given again")
                self.held_back = why
                if not why:
                    await self._call(session)
                await asyncio.sleep(self._options.every_seconds)

    async def _call(self, session: "ClientSession") -> None:
        import aiohttp

        try:
            async with session.get(self._options.url, allow_redirects=True) as answer:
                fault = "" if answer.status < 400 else f"it answers {answer.status}"
        except TimeoutError:
            fault = f"no answer in {TIMEOUT_SECONDS:.0f} s"
        except (aiohttp.ClientError, OSError) as error:
            fault = _said(error)
        self.calls += not fault
        if fault and fault != self.fault:
            log.warning("the heartbeat does not arrive: %s", fault)
        self.fault = fault


def _said(error: Exception) -> str:
    """Say what stood in the way; the library's own text may hold the URL, which is a secret."""
    import aiohttp

    if isinstance(error, aiohttp.ClientConnectorCertificateError):
        return "the certificate there is not trusted"
    if isinstance(error, aiohttp.ClientConnectorDNSError):
        return "nobody knows where its host is"
    if isinstance(error, aiohttp.ClientConnectorError):
        return f"no connection: {error.os_error.strerror or type(error.os_error).__name__}"
    return f"the connection failed ({type(error).__name__})"
