"""`coldside collect`: the collector of one pit, until it is stopped."""

import argparse
import asyncio
import contextlib
import logging
import os
from collections.abc import Callable
from typing import TYPE_CHECKING

from tui.commands.options import add_config, add_socket, add_store, load_settings, text
from tui.commands.signals import on_end, on_hangup
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from pathlib import Path

    from collector.daemon import Collector
    from collector.serve.service import ServeOptions
    from collector.service.notify import ServiceManager
    from collector.settings.load import Settings
    from collector.settings.shape import Serve

__all__ = ["add_options", "run", "run_collector"]

log = logging.getLogger(__name__)


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `collect`."""
    add_config(parser)
    add_store(parser)
    add_socket(parser)
    parser.add_argument("--cook", type=text, metavar="NAME", help="begin a new cook of this name")


def run(options: argparse.Namespace) -> int:
    """Collect until SIGTERM or Ctrl-C; SIGHUP, where no terminal can close, reads the config again."""
    from tui.commands.screen_log import log_to_stderr

    log_to_stderr(options.verbose)
    return asyncio.run(run_collector(options))


async def run_collector(options: argparse.Namespace) -> int:
    """Collect under the config; where it is read again and has changed, go on with the same cook under the new one."""
    from collector.service.notify import ServiceManager

    manager = ServiceManager()
    settings = load_settings(options)
    for warning in settings.warnings:
        log.warning("%s", warning)
    collector = _build(options, settings, manager, options.cook or "")
    lost, ended = 0, False

    def end() -> None:
        nonlocal ended
        ended = True
        collector.stop()

    on_end(end)
    while True:
        reload = _Reload(options, settings, manager, collector.stop)
        on_hangup(end, reload.ask)
        lost += await collector.run()
        if ended or (reload.found is None and collector.late is None):
            break
        before, settings = settings, reload.found or settings
        note = ""
        if collector.late is not None:
            from collector.late import date_anew

            date_anew(_store(options, before), collector.late)
            note = collector.late.text
        collector = _build_again(options, before, settings, manager, note)
    manager.stopping()
    if lost:
        log.error("%d readings could not be saved before the deadline", lost)
    return Exit.STORE if lost else Exit.OK


def _build(
    options: argparse.Namespace, settings: "Settings", manager: "ServiceManager", cook: str, note: str = ""
) -> "Collector":
    """Build the collector that config and options describe."""
    from collector.calls.options import calling_of
    from collector.clock import Clock
    from collector.daemon import Collector
    from collector.heartbeat import heartbeat_options
    from collector.kitchen.address import kitchen_of
    from collector.paths import runtime_socket
    from collector.publish.options import publish_options
    from collector.sources import build_sources, playback_speed

    speed = playback_speed(settings)
    clock = Clock()
    sources = build_sources(settings, clock.now, clock.now())
    config, serve, store = settings.config.store, settings.config.serve, _store(options, settings)
    return Collector(
        settings.plan, sources, store, runtime_socket(options.socket),
        cook=cook, playback=speed != 1.0, speed=speed, commit_seconds=config.commit_seconds,
        durable_seconds=config.durable_seconds, keep_days=config.keep_days, note=note, clock=clock, manager=manager,
        publish=publish_options(settings.config.publish, settings.path.parent) if settings.config.publish else None,
        kitchen=kitchen_of(config, settings.path.parent),
        calling=calling_of(settings.config, settings.path.parent),
        heartbeat=heartbeat_options(settings.config.heartbeat, settings.path.parent),
        serve=None if serve is None else _serve_options(serve, settings, store),
    )  # fmt: skip


def _serve_options(table: "Serve", settings: "Settings", store: "Path") -> "ServeOptions":
    from collector.serve.service import serve_options  # brings OpenSSL with it, 2 MB

    return serve_options(table, settings.path.parent, store, settings.config.display.unit)


def _store(options: argparse.Namespace, settings: "Settings") -> "Path":
    from collector.errors import StoreError
    from collector.kitchen.address import is_address
    from collector.paths import store_file

    if is_address(options.store or settings.config.store.path):
        raise StoreError(
            'a collector writes its own file first; the server is named in the config: [store] server = "..."'
        )
    return store_file(options.store or settings.config.store.path)


def _build_again(
    options: argparse.Namespace,
    before: "Settings",
    settings: "Settings",
    manager: "ServiceManager",
    note: str,
) -> "Collector":
    """Build it under the new config; where that cannot be done, under the old one, which could."""
    from adapters.errors import AdapterError
    from collector.errors import CollectorError

    try:
        return _build(options, settings, manager, "", note)
    except (CollectorError, AdapterError, OSError) as error:
        log.error("the new config cannot be used, the old one stays: %s", error)  # noqa: TRY400 - it is in the sentence
        return _build(options, before, manager, "", note)
    except Exception:
        log.exception("the new config cannot be used, the old one stays: a fault of coldside's")
        return _build(options, before, manager, "", note)


def _secrets_in(settings: "Settings") -> dict[str, bytes]:
    """Tell what the files with secrets hold now; the config itself is the same when a password has changed."""
    from collector.settings.secret import secret_file, secrets_of

    found = {}
    for file in secrets_of(settings.config, settings.path.parent):
        with contextlib.suppress(OSError):
            found[str(file)] = secret_file(file.parent, file.name).read_bytes()
    return found


class _Reload:
    """Reads the config again when asked, and stops the collector if there is something new in it."""

    def __init__(
        self, options: argparse.Namespace, settings: "Settings", manager: "ServiceManager", stop: Callable[[], None]
    ) -> None:
        self._options, self._settings, self._manager, self._stop = options, settings, manager, stop
        self._secrets = _secrets_in(settings)
        self.found: Settings | None = None

    def ask(self) -> None:
        """Read it; what is wrong with it goes to the log, and the old one stays."""
        from collector.errors import SettingsError

        self._manager.reloading()
        try:
            settings = load_settings(self._options)
        except SettingsError as error:
            log.error("the config is not read again, the old one stays:\n%s", error)  # noqa: TRY400 - mistakes, no faults
            self._manager.ready("the old config stays: the new one holds mistakes")
            return
        except Exception:
            log.exception("the config is not read again, the old one stays: a fault of ours")
            self._manager.ready("the old config stays")
            return
        for warning in settings.warnings:
            log.warning("%s", warning)
        if os.environ.get("CREDENTIALS_DIRECTORY"):
            log.info("passwords and keys stay those that the service manager handed over; a restart takes new ones")
        if settings.config == self._settings.config and _secrets_in(settings) == self._secrets:
            log.info("the config was read again: nothing in it has changed")
            self._manager.ready("the config has not changed")
            return
        log.info("the config was read again and has changed: the cook goes on under the new one")
        self.found = settings
        self._stop()
