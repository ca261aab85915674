"""Addresses: where to listen, and whether a request names us and comes from our own page."""

import ipaddress
from collections.abc import Collection
from urllib.parse import urlsplit

import msgspec

__all__ = ["Listen", "bare_host", "is_loopback", "names_us", "own_page", "parse_listen"]


class Listen(msgspec.Struct, frozen=True):
    """An address to listen at."""

    host: str
    """An IP address, without brackets."""
    port: int

    @property
    def loopback(self) -> bool:
        """Only this machine can reach it."""
        return is_loopback(self.host)

    def __str__(self) -> str:
        return f"[{self.host}]:{self.port}" if ":" in self.host else f"{self.host}:{self.port}"


def parse_listen(text: str) -> Listen:
    """Read `0.0.0.0:8765`, `[::1]:8765` or `localhost:8765`.

    Raises:
        ValueError: it is not written so; says what is allowed.
    """
    host, colon, port = text.rpartition(":")
    host = "127.0.0.1" if host == "localhost" else host
    bracketed = host.startswith("[") and host.endswith("]")
    bare = host[1:-1] if bracketed else host
    try:
        found = ipaddress.ip_address(bare)
    except ValueError:
        found = None
    whole = port.isascii() and port.isdigit() and 1 <= int(port[:6]) <= 65535
    if not colon or not whole or found is None or bracketed != (found.version == 6):
        raise ValueError(
            f'{text!r} is no address to listen at; "0.0.0.0:8765" is for the whole house, "127.0.0.1:8765" for this '
            'machine alone, "[::]:8765" for the house with IPv6 too'
        )
    return Listen(bare, int(port))


def is_loopback(host: str) -> bool:
    """Tell whether an address or `localhost` means this machine."""
    try:
        found = ipaddress.ip_address(host)
    except ValueError:
        return host == "localhost"
    mapped = found.ipv4_mapped if isinstance(found, ipaddress.IPv6Address) else None
    return (mapped or found).is_loopback


def bare_host(header: str) -> str:
    """Take the host out of a Host header: lower case, without port, brackets and last dot; empty when it is none."""
    try:
        parts = urlsplit(f"//{header}")
        host, _ = parts.hostname, parts.port
    except ValueError:
        return ""
    if host is None or parts.path or parts.query or parts.fragment or "@" in parts.netloc:
        return ""
    return host.removesuffix(".")


def names_us(header: str, configured: Collection[str], reached_at: str) -> bool:
    """Tell whether a Host header means us: a name from the config, or the very address the request came in at.

    A page elsewhere can point a name of its own at our address; its requests then carry that name.

    Args:
        header: the Host header; empty when there was none.
        configured: names from the config, lower case.
        reached_at: our own address on this connection.
    """
    host = bare_host(header)
    if not host:
        return False
    if host in configured:
        return True
    if host == "localhost":
        return is_loopback(reached_at)
    try:
        return _plain(host) == _plain(reached_at)
    except ValueError:
        return False


def _plain(host: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address:
    found = ipaddress.ip_address(host.partition("%")[0])
    mapped = found.ipv4_mapped if isinstance(found, ipaddress.IPv6Address) else None
    return mapped or found


def own_page(origin: str, host_header: str, *, tls: bool) -> bool:
    """Tell whether an Origin header names the page we serve under this Host."""
    scheme = "https" if tls else "http"
    usual = ":443" if tls else ":80"
    return origin.lower().removesuffix(usual) == f"{scheme}://{host_header.lower().removesuffix(usual)}"
