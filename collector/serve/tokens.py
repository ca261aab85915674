"""Who may look at the cook from another machine, and who may act: tokens, kept as hashes in a file beside the store.

A token is 256 random bits. A slow, salted hash exists to make guessing at what people think of expensive; here there is
nothing to guess, so one SHA-256 keeps the file worthless to whoever reads it, and costs the collector a microsecond.
"""

import enum
import hashlib
import hmac
import secrets
from pathlib import Path

import msgspec

from collector.errors import TokenError
from collector.serve.private import locked, others_may_read, write_private

__all__ = ["May", "Token", "TokenBook", "add_token", "read_tokens", "remove_token"]

TOKEN_BYTES = 32
LONGEST_TOKEN = 128
"""Characters; what is longer is no token of ours and not worth a hash."""
MOST_TOKENS = 200
SCHEMA = 1


class May(enum.StrEnum):
    """What the bearer of a token may do."""

    LOOK = "look"
    ACT = "act"
    """Also acknowledge, shelve, mark, calibrate."""


class Token(msgspec.Struct, frozen=True):
    """One token, without its secret."""

    name: str
    may: May
    sha256: str
    """Of the secret, 64 hexadecimal digits."""
    made_unix: float
    until_unix: float | None = None
    """When it ends; None: never."""

    def holds(self, now_unix: float) -> bool:
        """Tell whether its time is not over."""
        return self.until_unix is None or now_unix < self.until_unix


class _File(msgspec.Struct, frozen=True):
    schema: int
    tokens: tuple[Token, ...]


def read_tokens(file: Path) -> tuple[Token, ...]:
    """Read the tokens; none where there is no file.

    Raises:
        TokenError: the file cannot be read, is not ours, or others may read or write it.
    """
    try:
        if others_may_read(file):
            raise TokenError(f"{file}: others on this machine can use this file; chmod 600 it")
        found = msgspec.json.decode(file.read_bytes(), type=_File)
    except FileNotFoundError:
        return ()
    except OSError as error:
        raise TokenError(f"{file}: cannot be read: {error.strerror}") from error
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise TokenError(f"{file}: holds no tokens of this version: {error}") from error
    if found.schema != SCHEMA:
        raise TokenError(f"{file}: was written by another version of coldside")
    return found.tokens


def add_token(file: Path, name: str, may: May, now_unix: float, until_unix: float | None = None) -> str:
    """Make a token and keep its hash.

    Returns:
        The secret. It is not kept and cannot be had again.

    Raises:
        TokenError: there is one of this name, there are too many, or the file cannot be used.
    """
    secret = secrets.token_urlsafe(TOKEN_BYTES)
    made = Token(name, may, hashlib.sha256(secret.encode()).hexdigest(), now_unix, until_unix)
    try:
        file.parent.mkdir(parents=True, exist_ok=True, mode=0o750)
        with locked(file.parent):
            tokens = read_tokens(file)
            if any(token.name == name for token in tokens):
                raise TokenError(f"there is a token {name!r} already; `coldside token remove` takes it away")
            if len(tokens) >= MOST_TOKENS:
                raise TokenError(f"there are {MOST_TOKENS} tokens already; remove those that nobody uses")
            _write(file, (*tokens, made))
    except OSError as error:
        raise TokenError(f"{file}: cannot be written: {error.strerror}") from error
    return secret


def remove_token(file: Path, name: str) -> None:
    """Take a token away; the collector shuts out whoever bears it within seconds.

    Raises:
        TokenError: there is none of this name, or the file cannot be used.
    """
    try:
        with locked(file.parent):
            tokens = read_tokens(file)
            kept = tuple(token for token in tokens if token.name != name)
            if len(kept) == len(tokens):
                raise TokenError(f"there is no token {name!r}; `coldside token list` names them")
            _write(file, kept)
    except FileNotFoundError as error:
        raise TokenError(f"there is no token {name!r}; none was ever made") from error
    except OSError as error:
        raise TokenError(f"{file}: cannot be written: {error.strerror}") from error


def _write(file: Path, tokens: tuple[Token, ...]) -> None:
    write_private(file, msgspec.json.format(msgspec.json.encode(_File(SCHEMA, tokens))) + b"\n")


class TokenBook:
    """The tokens as the collector knows them; read anew when the file changes.

    Args:
        file: see `tokens_file`.
    """

    def __init__(self, file: Path) -> None:
        self.file = file
        self._tokens: tuple[Token, ...] = ()
        self._seen: tuple[int, int, int] | None = None
        """What the file looked like when it was last read."""

    def refresh(self) -> bool:
        """Read the file if it changed; tell whether it did. A file that cannot be read lets nobody in.

        Raises:
            TokenError: the file changed and cannot be used; told once a change.
        """
        try:
            found = self.file.stat()
            look = found.st_mtime_ns, found.st_ino, found.st_mode
        except OSError:
            look = None
        if look == self._seen:
            return False
        self._seen = look
        self._tokens = ()
        self._tokens = read_tokens(self.file)
        return True

    def __len__(self) -> int:
        return len(self._tokens)

    def match(self, secret: str, now_unix: float) -> Token | None:
        """Find the token of a secret; all are compared, each in constant time, so that time tells nothing."""
        if not 0 < len(secret) <= LONGEST_TOKEN:
            return None
        return self.of_digest(hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest(), now_unix)

    def of_digest(self, sha256: str, now_unix: float) -> Token | None:
        """Find the token of a hash, if its time is not over."""
        found = None
        for token in self._tokens:
            if hmac.compare_digest(token.sha256, sha256) and token.holds(now_unix):
                found = token
        return found
