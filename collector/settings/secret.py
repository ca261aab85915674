"""Files with secrets: where they are, whether they can be read, whether others can read them too."""

import os
import stat
from pathlib import Path

import msgspec

from collector.serve.private import others_may_read

__all__ = ["SECRET_FIELDS", "file_trouble", "read_secret", "secret_file", "secret_trouble", "secrets_of"]

SECRET_FIELDS = ("password_file", "key_file", "bind_key_file", "url_file", "token_file")
"""Keys of the config that name a file which nobody else should read."""


def secret_file(folder: Path, name: str) -> Path:
    """Find a file with a secret: among the credentials the service manager hands over, else beside the config."""
    credentials = os.environ.get("CREDENTIALS_DIRECTORY")
    if credentials and (Path(credentials) / Path(name).name).exists():
        return Path(credentials) / Path(name).name
    return folder / name


def read_secret(folder: Path, name: str) -> str | None:
    """Read a secret, without the end of its line; None when no file is named.

    Raises:
        OSError: it cannot be read.
    """
    if not name:
        return None
    return secret_file(folder, name).read_text(encoding="utf-8").rstrip("\n")


def secrets_of(config: msgspec.Struct, folder: Path) -> tuple[Path, ...]:
    """List the files with secrets that a config names, wherever in it; relative ones lie in `folder`."""
    found: dict[Path, None] = {}
    for field in config.__struct_fields__:
        value = getattr(config, field)
        for part in value if isinstance(value, tuple) else (value,):
            if isinstance(part, msgspec.Struct):
                found |= dict.fromkeys(secrets_of(part, folder))
            elif isinstance(part, str) and part and field in SECRET_FIELDS:
                found[folder / part] = None
    return tuple(found)


def secret_trouble(folder: Path, name: str) -> str:
    """Say why a secret cannot be used, empty when it can: what others on this machine can read is none.

    What the service manager hands over is guarded by other means than its mode.
    """
    file = secret_file(folder, name)
    why = file_trouble(file)
    if not why and file == folder / name and others_may_read(file):
        return "can be read by others on this machine; chmod 600 it"
    return why


def file_trouble(file: Path) -> str:
    """Say why a file cannot be read; empty when it can."""
    try:
        kind = file.stat().st_mode
    except (FileNotFoundError, ValueError):
        return "is not there"
    except OSError as error:
        return f"cannot be read: {error.strerror}"
    if not stat.S_ISREG(kind):
        return "is not a regular file"
    return "" if os.access(file, os.R_OK) else "cannot be read"
