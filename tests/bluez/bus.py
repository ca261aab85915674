"""A private D-Bus daemon, standing in for the system bus."""

import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Self

from tests.waiting import WAIT_SECONDS

__all__ = ["NoDaemonError", "PrivateBus", "dbus_daemon"]

CONFIG = """<busconfig>
  <type>session</type>
  <listen>{address}</listen>
  <auth>{mechanism}</auth>
  <policy context="default">
    <allow send_destination="*" eavesdrop="true"/>
    <allow eavesdrop="true"/>
    <allow own="*"/>
    {denials}
  </policy>
</busconfig>
"""


class NoDaemonError(RuntimeError):
    """There is no dbus-daemon here."""


def dbus_daemon() -> str | None:
    return shutil.which("dbus-daemon")


class PrivateBus:
    """A daemon on a socket of its own that a test may stop, start and restart under the same address.

    Args:
        folder: where the socket and the config lie; a folder of its own in the temporary folder when None, because
            a socket's path may not be longer than 107 bytes.
        mechanism: how clients prove who they are; DBUS_COOKIE_SHA1 turns away all who offer EXTERNAL.
        denied: names nobody may send to: the daemon answers AccessDenied.

    Raises:
        NoDaemonError: on start, dbus-daemon is not installed.
    """

    def __init__(self, folder: Path | None = None, *, mechanism: str = "EXTERNAL", denied: Sequence[str] = ()) -> None:
        self._own = tempfile.TemporaryDirectory(prefix="bus") if folder is None else None
        self.folder = Path(self._own.name) if self._own else Path(folder or "")
        self.socket = self.folder / "s"
        self.address = f"unix:path={self.socket}"
        self._mechanism, self._denied = mechanism, denied
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def pid(self) -> int | None:
        """The daemon's process, None while it is stopped."""
        return self._process.pid if self._process else None

    def start(self) -> Self:
        """Start it and wait until it takes connections."""
        program = dbus_daemon()
        if program is None:
            raise NoDaemonError("needs a dbus-daemon (apt install dbus)")
        denials = "".join(f'<deny send_destination="{name}"/>' for name in self._denied)
        config = self.folder / "bus.conf"
        config.write_text(CONFIG.format(address=self.address, mechanism=self._mechanism, denials=denials))
        words = [program, f"--config-file={config}", "--nofork", "--nopidfile", "--nosyslog", "--print-address=1"]
        self._process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        assert self._process.stdout is not None
        if not self._process.stdout.readline():  # it prints its address once it listens
            self.stop()
            raise RuntimeError("the dbus-daemon did not come up")
        return self

    def stop(self) -> None:
        """End it; every client sees its connection close."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(WAIT_SECONDS)
            assert self._process.stdout is not None
            self._process.stdout.close()
            self._process = None
        self.socket.unlink(missing_ok=True)

    def restart(self) -> None:
        self.stop()
        self.start()

    def close(self) -> None:
        """Stop it and remove its folder."""
        self.stop()
        if self._own is not None:
            self._own.cleanup()

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(self, *_: object) -> None:
        self.close()
