"""The way to a collector on another machine: a WebSocket over TLS, with a token.

aiohttp is imported when the first link is opened, so that whoever asks only this machine need not wait for it.
"""

import asyncio
import contextlib
import ipaddress
import re
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from tui.errors import LinkEnded, WayError
from tui.way import GREATEST_MESSAGE_BYTES, OPEN_SECONDS

if TYPE_CHECKING:
    import ssl

    from aiohttp import BaseConnector, ClientWebSocketResponse, Fingerprint

__all__ = ["DEFAULT_PORT", "RemoteWay", "authorities", "parse_at", "parse_fingerprint"]

DEFAULT_PORT = 8765
HEARTBEAT_SECONDS = 3.0
"""An unanswered one ends the link half of this later: before five seconds are over."""
REFUSED_SECONDS = 15.0
"""Wait after a refused token: asking sooner would look like guessing."""


@dataclass(frozen=True, slots=True)
class RemoteWay:
    """TLS to another machine, verified by the system's authorities, by a file of its own, or by its fingerprint.

    Plain only to this machine itself, where an `ssh -L` ends.
    """

    host: str
    port: int
    token: str = field(repr=False)
    tls: bool = True
    ca: Path | None = None
    fingerprint: bytes | None = None
    """SHA-256 of its certificate."""

    def __str__(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{host}:{self.port}"

    @contextlib.asynccontextmanager
    async def open(self) -> AsyncIterator["WebLink"]:
        """Open a WebSocket; the token is sent only once the certificate is verified.

        Raises:
            LinkEnded: nobody serves there, or not to us.
            WayError: the file of authorities cannot be used.
        """
        import aiohttp

        headers = {"Authorization": f"Bearer {self.token}"}
        async with aiohttp.ClientSession(connector=self._connector(), headers=headers) as session:
            try:
                async with asyncio.timeout(OPEN_SECONDS):
                    channel = await session.ws_connect(
                        f"{'https' if self.tls else 'http'}://{self}/feed", heartbeat=HEARTBEAT_SECONDS,
                        max_msg_size=GREATEST_MESSAGE_BYTES,
                    )  # fmt: skip
            except (aiohttp.ClientError, OSError) as error:
                wait = REFUSED_SECONDS if getattr(error, "status", 0) in (401, 429) else 0.0
                raise LinkEnded(self._said(error), patience_seconds=wait) from error
            async with channel:
                yield WebLink(channel, self)

    def _connector(self) -> "BaseConnector":
        import aiohttp

        verified: ssl.SSLContext | Fingerprint | bool = True
        if self.tls and self.fingerprint is not None:
            verified = aiohttp.Fingerprint(self.fingerprint)
        elif self.tls and self.ca is not None:
            verified = authorities(self.ca)
        return aiohttp.TCPConnector(ssl=verified)

    def _said(self, error: Exception) -> str:
        import aiohttp

        status = getattr(error, "status", 0)
        if isinstance(error, aiohttp.WSServerHandshakeError):
            return _STATUS.get(status, "what answers at {at} is no collector").format(at=self)
        if isinstance(error, aiohttp.ServerFingerprintMismatch):
            return f"{self} shows another certificate than the one of --fingerprint: it is not asked for anything"
        if isinstance(error, aiohttp.ClientConnectorCertificateError | aiohttp.ClientConnectorSSLError):
            return self._untrusted(error)
        cause = error.__cause__ or error
        if isinstance(error, aiohttp.ClientConnectorDNSError):
            return f"nobody knows where {self.host} is"
        if isinstance(cause, ConnectionRefusedError):
            return f"nobody answers at {self}: is `coldside collect` running there, with [serve] in its config?"
        if isinstance(error, aiohttp.ServerDisconnectedError):
            return f"{self} ended the connection; if it serves without TLS, come in by ssh -L"
        if isinstance(error, TimeoutError):
            return "the collector does not answer"
        return str(error) or type(error).__name__

    def _untrusted(self, error: Exception) -> str:
        about = str(getattr(error, "certificate_error", error.__cause__ or error))
        if "WRONG_VERSION_NUMBER" in about or "RECORD_LAYER" in about:
            return f"{self} does not speak TLS; to a collector on this machine itself: --at http://{self}"
        if "doesn't match" in about or "not valid for" in about:
            return f"the certificate of {self} is made for another name than {self.host}"
        if "expired" in about:
            return f"the certificate of {self} has expired"
        return f"the certificate of {self} is not known here: give --ca FILE or --fingerprint, as its collector logs it"


class WebLink:
    """Binary messages over a WebSocket that is open."""

    def __init__(self, channel: "ClientWebSocketResponse", way: RemoteWay) -> None:
        self._channel = channel
        self._way = way

    async def send(self, payload: bytes) -> None:
        """Send a message.

        Raises:
            ConnectionError: the collector is gone.
        """
        await self._channel.send_bytes(payload)

    async def __aiter__(self) -> AsyncIterator[bytes]:
        """Yield what the collector sends, until it closes.

        Raises:
            LinkEnded: it ended otherwise.
        """
        from aiohttp import ClientError, WSMsgType

        try:
            async for frame in self._channel:
                if frame.type is WSMsgType.BINARY:
                    yield frame.data
        except (ClientError, OSError) as error:
            raise LinkEnded(f"{self._way}: {error}") from error


_STATUS = {
    401: "the collector at {at} does not know this token, or its time is over",
    403: "the collector at {at} gives this program nothing",
    421: 'the collector at {at} is not known by this name: add it to hosts = ["..."] of [serve] in its config',
    429: "too many wrong tokens came from here to {at}; it asks to wait a minute",
    503: "too many dashboards are attached to {at}",
}


def authorities(ca: Path) -> "ssl.SSLContext":
    """Make what verifies a certificate by a file of authorities, or by that certificate itself.

    Raises:
        WayError: the file cannot be used.
    """
    import ssl

    try:
        return ssl.create_default_context(cafile=str(ca))
    except ssl.SSLError as error:
        raise WayError(f"{ca}: holds no certificate in PEM form") from error
    except OSError as error:
        raise WayError(f"{ca}: cannot be read: {error.strerror}") from error


def parse_at(text: str) -> tuple[str, int, bool]:
    """Read `pit.local`, `192.168.1.20:8765`, `[fd00::7]`, or `http://127.0.0.1:8765` where an ssh -L ends.

    Returns:
        Host, port, and whether it is TLS.

    Raises:
        ValueError: it is not written so, or plain and not this machine.
    """
    scheme, slashes, rest = text.partition("://")
    scheme, rest = (scheme, rest) if slashes else ("https", text)
    rest = f"[{rest}]" if rest.count(":") > 1 and not rest.startswith("[") else rest
    try:
        parts = urlsplit(f"//{rest.removesuffix('/')}")
        host, port = parts.hostname, parts.port
        (host or "").encode("idna")  # as it is looked up: empty and endless labels are refused there
    except ValueError:
        host, port, parts = None, None, urlsplit("")
    if not host or parts.path or parts.query or "@" in parts.netloc or scheme not in ("http", "https"):
        raise ValueError(f"{text!r} is no place of a collector; pit.local or 192.168.1.20:{DEFAULT_PORT} is one")
    if scheme == "http" and not _this_machine(host):
        raise ValueError(f"{text!r} would send the token in clear; only this machine itself is asked without TLS")
    return host, port or DEFAULT_PORT, scheme == "https"


def _this_machine(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def parse_fingerprint(text: str) -> bytes:
    """Read a SHA-256 fingerprint: 64 hexadecimal digits, with or without colons.

    Raises:
        ValueError: it is none.
    """
    digits = re.sub(r"^sha-?256[:=]", "", text.strip(), flags=re.IGNORECASE).replace(":", "").replace(" ", "")
    if not re.fullmatch(r"[0-9a-fA-F]{64}", digits):
        raise ValueError("that is no SHA-256 fingerprint: 64 hexadecimal digits, as the collector logs them")
    return bytes.fromhex(digits)
