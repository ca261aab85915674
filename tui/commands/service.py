"""`coldside service`: run the collector by the service manager, unattended, from the start of the machine on."""

import argparse
import getpass
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from tui.commands.options import add_config, load_settings
from tui.errors import TuiError
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from collector.service.unit import Unit
    from collector.settings.load import Settings

__all__ = ["add_options", "run"]

MACHINE_UNITS = Path("/etc/systemd/system")


class ServiceError(TuiError):
    """The service cannot be set up so."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `service`."""
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = (
        "The machine's own service (sudo) starts with the machine. With --user it is yours: it needs no sudo, and\n"
        "runs without you being logged in only after `loginctl enable-linger`."
    )
    actions = parser.add_subparsers(dest="what", metavar="WHAT", required=True)
    install = actions.add_parser("install", help="write the unit, and say what is left to do")
    uninstall = actions.add_parser("uninstall", help="stop the service and remove its unit; the record stays")
    show = actions.add_parser("show", help="print the unit as it would be written, and how the service stands")
    for sub in (install, uninstall, show):
        sub.add_argument("--user", action="store_true", help="for your own service manager instead of the machine's")
        sub.add_argument("--units", type=Path, metavar="FOLDER", help="where units are (default: where systemd looks)")
    for sub in (install, show):
        add_config(sub)
        sub.add_argument("--as", dest="account", metavar="ACCOUNT", help="who it runs as (default: who calls sudo)")
    install.add_argument("--start", action="store_true", help="enable and start it too")


def run(options: argparse.Namespace) -> int:
    """Install, remove or show the service."""
    return {"install": _install, "uninstall": _uninstall, "show": _show}[options.what](options)


def _install(options: argparse.Namespace) -> int:
    from collector.caution import FIRE_CAUTION
    from collector.service.unit import UNIT_NAME, unit_text

    settings = load_settings(options)
    for warning in settings.warnings:
        print(f"coldside: {warning}", file=sys.stderr)
    print(FIRE_CAUTION)
    text = unit_text(_unit(options, settings))
    file = _folder(options) / UNIT_NAME
    if file.exists() and file.read_text(encoding="utf-8") == text:
        print(f"{file} is as it should be already")
    else:
        again = file.exists()
        file.parent.mkdir(parents=True, exist_ok=True)
        fresh = file.with_suffix(".new")
        fresh.write_text(text, encoding="utf-8")
        fresh.chmod(0o644)
        fresh.replace(file)
        print(f"{'rewrote' if again else 'wrote'} {file}")
    if options.units is not None:
        return Exit.OK
    if not _systemctl(options, "daemon-reload"):
        print(
            f"systemd does not run here; where it does: systemctl daemon-reload && systemctl enable --now {UNIT_NAME}"
        )
        return Exit.OK
    if options.start:
        return Exit.OK if _systemctl(options, "enable", "--now", UNIT_NAME) else Exit.FAILED
    command = "systemctl --user" if options.user else "sudo systemctl"
    print(f"start it now and with the machine:  {command} enable --now {UNIT_NAME}")
    print(f"read its log:                       journalctl {'--user ' if options.user else ''}-u {UNIT_NAME} -f")
    print(f"after a change of the config:       {command} reload {UNIT_NAME}")
    return Exit.OK


def _uninstall(options: argparse.Namespace) -> int:
    from collector.service.unit import UNIT_NAME

    file = _folder(options) / UNIT_NAME
    if not file.exists():
        raise ServiceError(f"{file}: there is no such unit; `coldside service show` says where it would be")
    if options.units is None:
        _systemctl(options, "disable", "--now", UNIT_NAME)
    file.unlink()
    print(f"removed {file}")
    if options.units is None:
        _systemctl(options, "daemon-reload")
    print("the config and the record of the cooks stay where they are (`coldside paths`)")
    return Exit.OK


def _show(options: argparse.Namespace) -> int:
    from collector.service.unit import UNIT_NAME, unit_text

    text = unit_text(_unit(options, load_settings(options)))
    file = _folder(options) / UNIT_NAME
    print(text, end="")
    if not file.exists():
        print(f"# not installed: it would be {file}")
    elif file.read_text(encoding="utf-8") == text:
        print(f"# installed as {file}")
    else:
        print(f"# {file} differs from this: `coldside service install` rewrites it")
    if options.units is None:
        sys.stdout.flush()
        _systemctl(options, "status", "--no-pager", "--lines=3", UNIT_NAME)
    return Exit.OK


def _unit(options: argparse.Namespace, settings: "Settings") -> "Unit":
    """Put together what differs from machine to machine.

    Raises:
        ServiceError: a service of this kind could not run here.
    """
    from collector.service.unit import Unit

    executable = _executable()
    config = settings.path.resolve()
    store = Path(settings.config.store.path).expanduser().resolve() if settings.config.store.path else None
    account = "" if options.user else _account(options)
    homes = [path for path in (executable, config, store) if path is not None and _in_a_home(path)]
    if not options.user and account != "root" and any(path.is_relative_to("/root") for path in homes):
        raise ServiceError(
            f"{account} cannot read {homes[0]}: install coldside for {account} (uv tool install), or use --user"
        )
    return Unit(executable, config, _secrets(settings), account, options.user, bool(homes), store)


def _executable() -> Path:
    """Find the `coldside` command that is running now."""
    called = Path(sys.argv[0])
    found = called if called.name == "coldside" and called.exists() else Path(sys.executable).parent / "coldside"
    if not found.exists():
        found = Path(shutil.which("coldside") or "")
    if not found.is_file():
        raise ServiceError("the coldside command is not found; install it with `uv tool install .`")
    return found.absolute()


def _account(options: argparse.Namespace) -> str:
    account = options.account or os.environ.get("SUDO_USER") or getpass.getuser()
    if account == "root" and options.account != "root":
        raise ServiceError(
            "a collector need not be root: call this by sudo from the account that cooks, or name one with --as"
        )
    return str(account)


def _in_a_home(path: Path) -> bool:
    return path.is_relative_to("/home") or path.is_relative_to("/root")


def _secrets(settings: "Settings") -> tuple[Path, ...]:
    """List the files with passwords and keys that the config names."""
    from collector.settings.secret import secrets_of

    return secrets_of(settings.config, settings.path.parent.resolve())


def _folder(options: argparse.Namespace) -> Path:
    if options.units is not None:
        return Path(options.units)
    if not options.user:
        return MACHINE_UNITS
    home = os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config"
    return Path(home) / "systemd" / "user"


def _systemctl(options: argparse.Namespace, *words: str) -> bool:
    """Call systemctl; tell whether it did what it was asked."""
    command = ["systemctl", *(("--user",) if options.user else ()), *words]
    try:
        return subprocess.run(command, check=False).returncode == 0  # noqa: S603 - our own words
    except FileNotFoundError:
        return False
