"""The key by which links that acknowledge are signed: 32 random bytes beside the store, made when first needed."""

import secrets
from pathlib import Path

from collector.errors import TokenError
from collector.serve.private import locked, others_may_read, write_private

__all__ = ["link_key"]

KEY_BYTES = 32


def link_key(file: Path) -> bytes:
    """Read the key; make it where there is none.

    Raises:
        TokenError: it cannot be read or made, others may read it, or it is no key.
    """
    try:
        file.parent.mkdir(parents=True, exist_ok=True, mode=0o750)
        with locked(file.parent):
            if not file.exists():
                write_private(file, secrets.token_bytes(KEY_BYTES))
            if others_may_read(file):
                raise TokenError(
                    f"{file}: others on this machine can use this file; remove it, and a new key is made at the next "
                    "start: links sent before it are void"
                )
            key = file.read_bytes()
    except OSError as error:
        raise TokenError(f"{file}: cannot be used: {error.strerror}") from error
    if len(key) != KEY_BYTES:
        raise TokenError(f"{file}: holds no key; remove it, and a new one is made at the next start")
    return key
