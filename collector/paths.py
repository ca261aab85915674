"""Where the config, the store and the socket are, by the conventions of the desktop and of the service manager."""

import os
from pathlib import Path

import platformdirs

__all__ = ["config_file", "runtime_socket", "store_file"]

_APP = "coldside"


def config_file(named: str | None = None) -> Path:
    """Find the config: as named, `$COLDSIDE_CONFIG`, the service's folder, the user's, the machine's.

    Where none exists, the user's place is given: that is where `coldside init` writes.
    """
    if named:
        return Path(named)
    if from_environment := os.environ.get("COLDSIDE_CONFIG"):
        return Path(from_environment)
    user = Path(platformdirs.user_config_dir(_APP)) / "coldside.toml"
    places = [
        user,
        *(Path(p) / "coldside.toml" for p in platformdirs.site_config_dir(_APP, multipath=True).split(os.pathsep)),
    ]
    if service := os.environ.get("CONFIGURATION_DIRECTORY"):
        places.insert(0, Path(service.split(":")[0]) / "coldside.toml")
    return next((place for place in places if place.exists()), user)


def store_file(named: str = "") -> Path:
    """Find the store: as named in the config, the service's state folder, the user's."""
    if named:
        return Path(named).expanduser()
    if service := os.environ.get("STATE_DIRECTORY"):
        return Path(service.split(":")[0]) / "cooks.db"
    return Path(platformdirs.user_state_dir(_APP)) / "cooks.db"


def runtime_socket(named: str | None = None) -> Path:
    """Find the socket for dashboards: as named, the service's runtime folder, the user's.

    A user's dashboard also looks where a service of the machine would listen.
    """
    if named:
        return Path(named)
    if service := os.environ.get("RUNTIME_DIRECTORY"):
        return Path(service.split(":")[0]) / "collector.sock"
    user = Path(platformdirs.user_runtime_dir(_APP)) / "collector.sock"
    machine = Path("/run/coldside/collector.sock")
    return machine if machine.exists() and not user.exists() else user
