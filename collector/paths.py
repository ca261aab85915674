"""Where the config, the store and the socket are, by the conventions of the desktop and of the service manager."""

import os
import socket
from pathlib import Path

__all__ = ["config_file", "link_key_file", "pits_file", "runtime_socket", "sessions_file", "store_file", "tokens_file"]

_APP = "coldside"
MACHINE_STATE = Path("/var/lib/coldside")
MACHINE_SOCKET = Path("/run/coldside/collector.sock")
USERS_FOLDER = Path("/run/user")
"""Where the login manager keeps a folder for each user that is logged in."""


def config_file(named: str | None = None) -> Path:
    """Find the config: as named, `$COLDSIDE_CONFIG`, the service's folder, the user's, the machine's.

    Where none exists, the user's place is given: that is where `coldside init` writes.
    """
    if named:
        return Path(named)
    if from_environment := os.environ.get("COLDSIDE_CONFIG"):
        return Path(from_environment)
    user = _user_config() / "coldside.toml"
    places = [
        user,
        *(place / "coldside.toml" for place in _machine_configs()),
    ]
    if service := os.environ.get("CONFIGURATION_DIRECTORY"):
        places.insert(0, Path(service.split(":")[0]) / "coldside.toml")
    return next((place for place in places if place.exists()), user)


def pits_file(named: str | None = None) -> Path:
    """Find the list of the pits that somebody looks after: as named, else in the user's own config folder."""
    return Path(named) if named else _user_config() / "pits.toml"


def store_file(named: str = "") -> Path:
    """Find the store: as named in the config, the service's state folder, the user's.

    Where the user has none, a service of the machine may have one.
    """
    if named:
        return Path(named).expanduser()
    if service := os.environ.get("STATE_DIRECTORY"):
        return Path(service.split(":")[0]) / "cooks.db"
    user = _user_state() / "cooks.db"
    machine = MACHINE_STATE / "cooks.db"
    return machine if _there(machine) and (not user.exists() or _service_alone_answers()) else user


def tokens_file(store: Path) -> Path:
    """Find the tokens of a store: beside it, so that each pit has its own."""
    return store.with_name(f"{store.stem}.tokens.json")


def sessions_file(store: Path) -> Path:
    """Find the sessions of the browsers that were let in to a store."""
    return store.with_name(f"{store.stem}.sessions.json")


def link_key_file(store: Path) -> Path:
    """Find the key by which links in messages about a store's cooks are signed."""
    return store.with_name(f"{store.stem}.links.key")


def runtime_socket(named: str | None = None) -> Path:
    """Find the socket for dashboards: as named, the service's runtime folder, the user's.

    A user's dashboard also looks where a service of the machine would listen.
    """
    if named:
        return Path(named)
    if service := os.environ.get("RUNTIME_DIRECTORY"):
        return Path(service.split(":")[0]) / "collector.sock"
    user = _runtime_folder() / "collector.sock"
    machine = MACHINE_SOCKET
    return machine if machine.exists() and (not user.exists() or _service_alone_answers()) else user


def _service_alone_answers() -> bool:
    """Tell whether the machine's service runs, and no collector of the user's own: what that left is not meant."""
    return _answers(MACHINE_SOCKET) and not _answers(_runtime_folder() / "collector.sock")


def _answers(path: Path) -> bool:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as knocking:
        try:
            knocking.connect(str(path))
        except OSError:
            return False
        return True


def _there(path: Path) -> bool:
    """Tell whether a file is there as far as we may see."""
    try:
        return path.exists()
    except PermissionError:
        return False


def _runtime_folder() -> Path:
    """Find a folder that only the user can write to; a shared one such as /tmp lets others put a socket in our place.

    `platformdirs` falls back on /tmp, so it is asked for the state folder only.
    """
    session = Path(os.environ.get("XDG_RUNTIME_DIR", ""))
    if session.is_absolute():
        return session / _APP
    login = USERS_FOLDER / str(os.getuid())
    return login / _APP if login.is_dir() else _user_state()


def _user_config() -> Path:
    import platformdirs  # who names every file need not load it

    return Path(platformdirs.user_config_dir(_APP))


def _user_state() -> Path:
    import platformdirs

    return Path(platformdirs.user_state_dir(_APP))


def _machine_configs() -> list[Path]:
    import platformdirs

    return [Path(place) for place in platformdirs.site_config_dir(_APP, multipath=True).split(os.pathsep)]
