"""Where the server is: one URL, as PostgreSQL's own programs write it, and the password beside it."""

from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import parse_qs, unquote, urlsplit

from collector.settings.secret import read_secret
from collector.settings.shape import Store

__all__ = [
    "SCHEMES",
    "KitchenAddress",
    "address_mistake",
    "is_address",
    "kitchen_of",
    "parse_address",
    "travels_in_clear",
]

SCHEMES = ("postgresql", "postgres")
ENCRYPTED = ("require", "verify-ca", "verify-full")


@dataclass(frozen=True, slots=True)
class KitchenAddress:
    """The server and the database."""

    url: str
    """Without a pit and without a password."""
    password: str | None = field(default=None, repr=False)
    """None: from `~/.pgpass` or `$PGPASSWORD`, as PostgreSQL's own programs take it."""

    def __str__(self) -> str:
        parts = urlsplit(self.url)
        return f"{parts.hostname or 'this machine'}{parts.path}"


def is_address(text: str) -> bool:
    """Tell whether a store is named by the URL of a server."""
    return text.partition("://")[0] in SCHEMES and "://" in text


def address_mistake(url: str) -> str:
    """Say what is wrong with the URL of a server; empty where nothing is."""
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError as error:
        return f"is no address: {error}"
    if parts.scheme not in SCHEMES or port == 0:
        return 'is no address of a PostgreSQL server: "postgresql://USER@HOST/DATABASE" is one'
    if parts.password is not None or "password" in parse_qs(parts.query):
        return "holds a password; it belongs in the file that password_file names, or in ~/.pgpass"
    if parts.fragment:
        return "names a pit; a collector brings its own, by the name of its chamber"
    if parts.path in ("", "/"):
        return 'names no database: "postgresql://USER@HOST/DATABASE"'
    return ""


def travels_in_clear(url: str) -> bool:
    """Tell whether what goes to the server may be read along on the way."""
    parts = urlsplit(url)
    here = parts.hostname in (None, "", "localhost", "127.0.0.1", "::1") or (parts.hostname or "").startswith("%2f")
    return not here and parse_qs(parts.query).get("sslmode", [""])[0] not in ENCRYPTED


def parse_address(text: str) -> tuple[KitchenAddress, str]:
    """Read `postgresql://USER@HOST/DATABASE#PIT`.

    Returns:
        The address, and the pit: its name, or its number; empty where none is named.

    Raises:
        ValueError: it is no such address; the sentence says why.
    """
    url, _, pit = text.partition("#")
    if why := address_mistake(url):
        raise ValueError(f"{url} {why}")
    return KitchenAddress(url), unquote(pit)


def kitchen_of(table: Store, folder: Path) -> KitchenAddress | None:
    """Make of the `[store]` table where its server is; None where it names none.

    Raises:
        OSError: the password cannot be read.
    """
    return KitchenAddress(table.server, read_secret(folder, table.password_file)) if table.server else None
