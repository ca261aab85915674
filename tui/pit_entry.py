"""One pit that the options or the file of pits mean: where its collector is, and by what it is verified."""

from pathlib import Path

import msgspec

from tui.way import SocketWay, Way

__all__ = ["PitEntry"]


class PitEntry(msgspec.Struct, frozen=True):
    """One pit of the file, its files found from beside it."""

    name: str
    place: tuple[str, int, bool] | None = None
    """Host, port, and whether it is TLS; None: on this machine."""
    socket: Path | None = None
    """None: on another machine."""
    token_file: Path | None = None
    ca: Path | None = None
    fingerprint: bytes | None = None

    def way(self, token_file: str | None = None) -> Way:
        """Give the way to it.

        Args:
            token_file: where the token is, if the file of pits says nothing of it.

        Raises:
            WayError: the token cannot be had.
        """
        if self.place is None:
            assert self.socket is not None
            return SocketWay(self.socket)
        from tui.remote_way import RemoteWay
        from tui.token_file import read_token

        host, port, tls = self.place
        token = read_token(str(self.token_file) if self.token_file else token_file, f"{self.name} at {host}")
        return RemoteWay(host, port, token, tls, self.ca, self.fingerprint)

    def told(self) -> str:
        """Say where it is and how it is verified."""
        if self.place is None:
            return str(self.socket)
        host, port, tls = self.place
        verified = "its fingerprint" if self.fingerprint else str(self.ca) if self.ca else "a known authority"
        return f"{host}, port {port}, {f'verified by {verified}' if tls else 'without TLS'}"
