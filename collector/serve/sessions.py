"""Browsers that have shown a token: random session ids, of which only hashes are kept, bounded in number and time.

They are on disk too, so that a phone beside the bed goes on by itself when the collector was started again. A session
is worth what its token is worth: remove the token, and all its sessions are over.
"""

import hashlib
import logging
import secrets
from pathlib import Path

import msgspec

from collector.serve.private import others_may_read, write_private
from collector.serve.tokens import LONGEST_TOKEN, Token

__all__ = ["SESSION_SECONDS", "SessionBook"]

log = logging.getLogger(__name__)

SESSION_SECONDS = 7 * 24 * 3600.0
MOST_SESSIONS = 100
SESSION_BYTES = 32


class _Session(msgspec.Struct, frozen=True):
    sha256: str
    """Of the session's id."""
    token: str
    """Hash of the token that was shown."""
    until_unix: float


class SessionBook:
    """Every session there is.

    Args:
        file: where they are kept; None: in memory alone.
    """

    def __init__(self, file: Path | None) -> None:
        self._file = file
        self._sessions: dict[str, _Session] = {}
        """By the hash of their id, so that how long a look-up takes tells nothing of an id. The oldest first."""
        if file is not None:
            self._read(file)

    def _read(self, file: Path) -> None:
        try:
            if others_may_read(file):
                log.warning("%s: others on this machine can use this file: browsers have to log in again", file)
                return
            found = msgspec.json.decode(file.read_bytes(), type=list[_Session])
        except FileNotFoundError:
            return
        except (OSError, msgspec.DecodeError, UnicodeDecodeError) as error:
            log.warning("%s: cannot be read, browsers have to log in again: %s", file, error)
            return
        self._sessions = {session.sha256: session for session in found[-MOST_SESSIONS:]}

    def __len__(self) -> int:
        return len(self._sessions)

    def begin(self, token: Token, now_unix: float) -> str:
        """Begin a session for who has shown a token; the oldest gives way where there are too many.

        Returns:
            The id, for the browser's cookie.
        """
        secret = secrets.token_urlsafe(SESSION_BYTES)
        self._sessions = {k: s for k, s in self._sessions.items() if s.until_unix > now_unix}
        while len(self._sessions) >= MOST_SESSIONS:
            del self._sessions[next(iter(self._sessions))]
        key = _hash(secret)
        self._sessions[key] = _Session(key, token.sha256, now_unix + SESSION_SECONDS)
        self._keep()
        return secret

    def token_hash(self, secret: str, now_unix: float) -> str | None:
        """Give the hash of the token that a session stands for; None where there is no such session now."""
        session = self._sessions.get(_hash(secret)) if 0 < len(secret) <= LONGEST_TOKEN else None
        return session.token if session is not None and now_unix < session.until_unix else None

    def end(self, secret: str) -> None:
        """End a session, if there is one."""
        if self._sessions.pop(_hash(secret[:LONGEST_TOKEN]), None) is not None:
            self._keep()

    def _keep(self) -> None:
        if self._file is None:
            return
        try:
            write_private(self._file, msgspec.json.encode(list(self._sessions.values())))
        except OSError as error:  # a full disk keeps nobody from looking
            log.warning("%s: cannot be written; browsers log in again after a restart: %s", self._file, error)


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()
