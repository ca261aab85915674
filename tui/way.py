"""The way to a collector: its unix socket on this machine, or TLS and a token from another."""

import ipaddress
import os
import re
import stat
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Protocol
from urllib.parse import urlsplit

import msgspec

from tui.errors import WayError

if TYPE_CHECKING:
    import ssl

    from aiohttp import BaseConnector, Fingerprint

__all__ = [
    "DEFAULT_PORT",
    "RemoteWay",
    "SocketWay",
    "Way",
    "authorities",
    "parse_at",
    "parse_fingerprint",
    "read_token",
    "token_in",
    "way_to",
]

DEFAULT_PORT = 8765
OPEN_SECONDS = 10.0
LOCAL_HEARTBEAT_SECONDS = 10.0
REMOTE_HEARTBEAT_SECONDS = 3.0
"""An unanswered one ends the link half of this later: before five seconds are over."""
REFUSED_SECONDS = 15.0
"""Wait after a refused token: asking sooner would look like guessing."""


class Way(Protocol):
    """How a collector is reached."""

    @property
    def url(self) -> str:
        """Of the feed."""

    @property
    def heartbeat_seconds(self) -> float:
        """Between signs of life."""

    @property
    def headers(self) -> dict[str, str]:
        """What is sent with the request."""

    def connector(self) -> "BaseConnector":
        """Make what opens connections.

        Raises:
            WayError: what it is verified by cannot be used.
        """

    def said(self, error: Exception) -> str:
        """Say in a cook's words why no link could be had."""

    def patience_seconds(self, error: Exception) -> float:
        """Say how long to wait at least before trying again."""


class SocketWay(msgspec.Struct, frozen=True):
    """A unix socket on this machine."""

    path: Path
    url: str = "http://collector/feed"
    heartbeat_seconds: float = LOCAL_HEARTBEAT_SECONDS

    def __str__(self) -> str:
        return str(self.path)

    @property
    def headers(self) -> dict[str, str]:
        """Send nothing but the request."""
        return {}

    def connector(self) -> "BaseConnector":
        """Make what opens connections."""
        import aiohttp

        return aiohttp.UnixConnector(path=str(self.path))

    def said(self, error: Exception) -> str:
        """Say in a cook's words why no link could be had."""
        cause = error.__cause__ or error
        if isinstance(cause, FileNotFoundError | ConnectionRefusedError):
            return f"no collector at {self}"
        if isinstance(cause, PermissionError):
            return f"not allowed to use {self}"
        return _said(error)

    def patience_seconds(self, error: Exception) -> float:  # noqa: ARG002 - nothing here wants patience
        """Try again at once."""
        return 0.0


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
    heartbeat_seconds: float = REMOTE_HEARTBEAT_SECONDS

    def __str__(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{host}:{self.port}"

    @property
    def url(self) -> str:
        """Name the feed."""
        return f"{'https' if self.tls else 'http'}://{self}/feed"

    @property
    def headers(self) -> dict[str, str]:
        """Show the token; sent only once the certificate is verified."""
        return {"Authorization": f"Bearer {self.token}"}

    def connector(self) -> "BaseConnector":
        """Make what opens connections.

        Raises:
            WayError: the file of authorities cannot be used.
        """
        import aiohttp

        verified: ssl.SSLContext | Fingerprint | bool = True
        if self.tls and self.fingerprint is not None:
            verified = aiohttp.Fingerprint(self.fingerprint)
        elif self.tls and self.ca is not None:
            verified = authorities(self.ca)
        return aiohttp.TCPConnector(ssl=verified)

    def said(self, error: Exception) -> str:
        """Say in a cook's words why no link could be had."""
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
        return _said(error)

    def _untrusted(self, error: Exception) -> str:
        about = str(getattr(error, "certificate_error", error.__cause__ or error))
        if "WRONG_VERSION_NUMBER" in about or "RECORD_LAYER" in about:
            return f"{self} does not speak TLS; to a collector on this machine itself: --at http://{self}"
        if "doesn't match" in about or "not valid for" in about:
            return f"the certificate of {self} is made for another name than {self.host}"
        if "expired" in about:
            return f"the certificate of {self} has expired"
        return f"the certificate of {self} is not known here: give --ca FILE or --fingerprint, as its collector logs it"

    def patience_seconds(self, error: Exception) -> float:
        """Wait after a refused token."""
        return REFUSED_SECONDS if getattr(error, "status", 0) in (401, 429) else 0.0


_STATUS = {
    401: "the collector at {at} does not know this token, or its time is over",
    403: "the collector at {at} gives this program nothing",
    421: 'the collector at {at} is not known by this name: add it to hosts = ["..."] of [serve] in its config',
    429: "too many wrong tokens came from here to {at}; it asks to wait a minute",
    503: "too many dashboards are attached to {at}",
}


def _said(error: Exception) -> str:
    if isinstance(error, TimeoutError):
        return "the collector does not answer"
    return str(error) or type(error).__name__


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


def way_to(socket: "Way | Path | str") -> Way:
    """Make a way of what may be the path of a socket."""
    return SocketWay(Path(socket)) if isinstance(socket, Path | str) else socket


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


def read_token(file: str | None, host: str) -> str:
    """Get the token: from a file, from the file `$COLDSIDE_TOKEN_FILE` names, or from whoever sits at the terminal.

    Raises:
        WayError: there is none to be had, or others may read the file.
    """
    name = file or os.environ.get("COLDSIDE_TOKEN_FILE")
    if name:
        return token_in(Path(name).expanduser())
    import getpass
    import sys

    if not sys.stdin.isatty():
        raise WayError("a token is needed: --token-file FILE, or $COLDSIDE_TOKEN_FILE")
    try:
        token = getpass.getpass(f"token for {host}: ").strip()
    except EOFError:
        token = ""
    return _checked(token, "what was typed")


def token_in(file: Path) -> str:
    """Read a token from its file.

    Raises:
        WayError: it holds none, or others may read it.
    """
    try:
        mode = file.stat().st_mode
        if stat.S_ISREG(mode) and mode & 0o077:
            raise WayError(f"{file}: others on this machine can read this token; chmod 600 it")
        return _checked(file.read_text(encoding="ascii").strip(), str(file))
    except UnicodeDecodeError as error:
        raise WayError(f"{file}: holds no token") from error
    except OSError as error:
        raise WayError(f"{file}: cannot be read: {error.strerror}") from error


def _checked(token: str, where: str) -> str:
    if not re.fullmatch(r"[A-Za-z0-9_-]{20,128}", token):
        raise WayError(f"{where} is no token: letters, digits, - and _, as `coldside token add` prints it")
    return token
