"""Where the token comes from that a collector on another machine wants to see."""

import os
import re
import stat
from pathlib import Path

from tui.errors import WayError

__all__ = ["read_token", "token_in"]


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
