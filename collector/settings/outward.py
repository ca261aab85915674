"""What must hold of the tables by which others are told of the cook."""

from importlib.util import find_spec
from pathlib import Path

from adapters.mqtt.filters import overlaps
from collector.kitchen.address import address_mistake, travels_in_clear
from collector.settings.check import Mistake
from collector.settings.secret import read_secret, secret_trouble, secrets_of
from collector.settings.shape import Config, MqttSource, Store
from collector.settings.sources import check_broker
from collector.settings.web_address import is_web_address

__all__ = ["check_outward"]


def check_outward(config: Config, folder: Path, found: list[Mistake], warnings: list[str]) -> None:
    """Add to `found` what does not hold together, to `warnings` what is unwise."""
    _check_names(config, folder, found)
    if config.publish is not None:
        check_broker(config.publish, "publish", ("publish",), folder, found, warnings)
        for source in config.source:
            if isinstance(source, MqttSource) and source.host == config.publish.host:
                _check_echo(source, config.publish.base, found)
    if config.store.server or config.store.password_file:
        _check_kitchen(config.store, folder, found, warnings)
    if config.heartbeat is not None:
        _check_heartbeat(config.heartbeat.url_file, folder, found)


def _check_names(config: Config, folder: Path, found: list[Mistake]) -> None:
    """Check that no two files with secrets are named alike: the service manager hands them over by their names."""
    files = secrets_of(config, folder)
    for k, file in enumerate(files):
        if any(other.name == file.name for other in files[:k]):
            what = f"two files with secrets are named {file.name}; give each a name of its own"
            found.append((("secrets",), what))


def _check_kitchen(table: Store, folder: Path, found: list[Mistake], warnings: list[str]) -> None:
    if not table.server:
        found.append((("store", "password_file"), 'goes with server = "postgresql://USER@HOST/DATABASE"'))
    elif why := address_mistake(table.server):
        found.append((("store", "server"), why))
    elif travels_in_clear(table.server):
        warnings.append(
            "store.server: what goes there can be read along on the way; "
            "?sslmode=verify-full behind the address ends that"
        )
    if table.server and find_spec("asyncpg") is None:
        found.append((("store", "server"), "needs the extra: pip install 'coldside[postgresql]'"))
    if table.server and table.password_file and (why := secret_trouble(folder, table.password_file)):
        found.append((("store", "password_file"), f"{table.password_file!r} {why}"))


def _check_echo(source: MqttSource, base: str, found: list[Mistake]) -> None:
    for table in source.subscribe:
        if overlaps(table.filter, f"{base}/#"):
            what = f"is heard by {table.filter!r} of source {source.name}, which would take it for readings"
            found.append((("publish", "base"), what))


def _check_heartbeat(name: str, folder: Path, found: list[Mistake]) -> None:
    where = ("heartbeat", "url_file")
    if why := secret_trouble(folder, name):
        found.append((where, f"{name!r} {why}"))
        return
    if not is_web_address((read_secret(folder, name) or "").strip()):
        found.append((where, f"{name!r} holds no address; its one line begins with https://"))
