"""The systemd unit that a collector runs by: `systemd.service(5)`, `systemd.exec(5)`.

It may do what a collector does and nothing else: write its own state, talk to brokers and to BlueZ over the system bus,
listen for dashboards. It comes back after a fault, but not on a config with mistakes, which no restart mends.
"""

from collections.abc import Sequence
from pathlib import Path

import msgspec

__all__ = ["UNIT_NAME", "Unit", "unit_text"]

UNIT_NAME = "coldside.service"
CONFIG_MISTAKES = 78
"""Exit code of `coldside collect` for a config with mistakes (sysexits.h)."""
WATCHDOG_SECONDS = 180
START_SECONDS = 300
"""The engine is rebuilt from the record of the night before the service counts as started."""
STOP_SECONDS = 20


class Unit(msgspec.Struct, frozen=True):
    """What differs from one machine to the next."""

    executable: Path
    """The `coldside` command."""
    config: Path
    secrets: Sequence[Path] = ()
    """Files with passwords and keys, handed over as credentials so that only the service reads them."""
    account: str = ""
    """Who it runs as. The cook's own account, so that his dashboard may use the socket and his commands the store."""
    user: bool = False
    """For the user's own service manager: it runs as the user, and with fewer of the locks, which need root."""
    home: bool = False
    """The command or the config lies in somebody's home, which must then stay readable."""
    store: Path | None = None
    """A store outside the state folder, which it must be able to write."""


def unit_text(unit: Unit) -> str:
    """Write the unit."""
    command = f"{_quoted(unit.executable)} collect --config {_quoted(unit.config)}"
    lines = [
        "# Written by `coldside service install`; change it with `systemctl edit coldside`, which outlives an upgrade.",
        "[Unit]",
        "Description=coldside, watches a pit through the night",
        "After=network-online.target time-set.target bluetooth.target",
        "Wants=network-online.target",
        "StartLimitIntervalSec=0",
        "",
        "[Service]",
        "Type=notify",
        "NotifyAccess=main",
        f"ExecStart={command}",
        "ExecReload=/bin/kill -HUP $MAINPID",
        "Restart=on-failure",
        "RestartSec=5",
        f"RestartPreventExitStatus={CONFIG_MISTAKES}",
        f"WatchdogSec={WATCHDOG_SECONDS}",
        f"TimeoutStartSec={START_SECONDS}",
        f"TimeoutStopSec={STOP_SECONDS}",
        "StateDirectory=coldside",
        "StateDirectoryMode=0750",
        "RuntimeDirectory=coldside",
        "RuntimeDirectoryMode=0750",
        "UMask=0027",
        *(f"LoadCredential={secret.name}:{_escaped(secret)}" for secret in unit.secrets),
        *(() if unit.user else _locks(unit)),
        "NoNewPrivileges=yes",
        "RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6",
        "RestrictNamespaces=yes",
        "RestrictRealtime=yes",
        "RestrictSUIDSGID=yes",
        "LockPersonality=yes",
        "SystemCallArchitectures=native",
        "SystemCallFilter=@system-service",
        "SystemCallFilter=~@privileged @resources",
        "SystemCallErrorNumber=EPERM",
        "MemoryMax=512M",
        "TasksMax=64",
        "",
        "[Install]",
        f"WantedBy={'default' if unit.user else 'multi-user'}.target",
    ]
    return "\n".join(lines) + "\n"


def _locks(unit: Unit) -> tuple[str, ...]:
    """Give the locks that only the machine's own service manager can put on."""
    writable = () if unit.store is None else (f"ReadWritePaths={_escaped(unit.store.parent)}",)
    return (
        f"User={unit.account}",
        "ConfigurationDirectory=coldside",
        "ProtectSystem=strict",
        f"ProtectHome={'read-only' if unit.home else 'yes'}",
        *writable,
        "PrivateTmp=yes",
        "PrivateDevices=yes",
        "ProtectClock=yes",
        "ProtectHostname=yes",
        "ProtectKernelLogs=yes",
        "ProtectKernelModules=yes",
        "ProtectKernelTunables=yes",
        "ProtectControlGroups=yes",
        "ProtectProc=invisible",
        "RemoveIPC=yes",
        "MemoryDenyWriteExecute=yes",
        "CapabilityBoundingSet=",
        "AmbientCapabilities=",
    )


def _escaped(path: Path) -> str:
    """Write a path where systemd expands `%`."""
    return str(path).replace("%", "%%")


def _quoted(path: Path) -> str:
    """Write a path as one word of a command line (`systemd.service(5)`, COMMAND LINES)."""
    text = _escaped(path).replace("\\", "\\\\").replace('"', '\\"').replace("$", "$$")
    return f'"{text}"' if any(c in text for c in " \t;'\"\\") else text
