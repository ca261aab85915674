"""What is to go wrong, scripted per method."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

__all__ = ["ACCESS_DENIED", "Fault", "Faults"]

ACCESS_DENIED = ("org.freedesktop.DBus.Error.AccessDenied", "Rejected send message")
ABORTED = ("org.bluez.Error.Failed", "le-connection-abort-by-local")


class Placed(Protocol):
    path: str


@dataclass
class Fault:
    """One rule; it is used up after `times` calls, never when None."""

    member: str
    prefix: str | None
    times: int | None
    error: tuple[str, str] | None = None
    """Name and text of the error to answer with."""
    seconds: float | None = None
    """How long to wait before the call is carried out."""
    flicker: bool = False
    """Whether Connected turns true and false around the error."""

    def fits(self, member: str, path: str) -> bool:
        if self.member != member or self.times == 0:
            return False
        return self.prefix is None or path == self.prefix or path.startswith(self.prefix + "/")


class Faults:
    """Rules by method name, tried in the order they were made; `device` is anything with a path, or a path.

    A rule for a device holds for the characteristics below it too. With neither error nor delay a call hangs: it is
    never answered, and nothing happens.
    """

    def __init__(self) -> None:
        self._rules: list[Fault] = []

    def __iter__(self) -> Iterator[Fault]:
        return iter(self._rules)

    def on(
        self, member: str, *, error: tuple[str, str], device: Placed | str | None = None, times: int | None = 1
    ) -> Fault:
        """Answer the next `times` calls (all when None) with an error, given as name and text."""
        return self._add(Fault(member, self._prefix(device), times, error=error))

    def hang(self, member: str, *, device: Placed | str | None = None, times: int | None = 1) -> Fault:
        """Never answer."""
        return self._add(Fault(member, self._prefix(device), times))

    def delay(
        self, member: str, seconds: float, *, device: Placed | str | None = None, times: int | None = None
    ) -> Fault:
        """Carry calls out later."""
        return self._add(Fault(member, self._prefix(device), times, seconds=seconds))

    def abort(self, *, device: Placed | str | None = None, times: int | None = 1, flicker: bool = True) -> Fault:
        """Refuse Connect with le-connection-abort-by-local, the link up for a moment; without `flicker` bleak hangs."""
        return self._add(Fault("Connect", self._prefix(device), times, error=ABORTED, flicker=flicker))

    def clear(self, member: str | None = None) -> None:
        """Drop the rules for one method, or all."""
        self._rules = [rule for rule in self._rules if member is not None and rule.member != member]

    def take(self, member: str, path: str) -> Fault | None:
        """Find the rule for a call and count it."""
        for rule in self._rules:
            if rule.fits(member, path):
                if rule.times is not None:
                    rule.times -= 1
                return rule
        return None

    def _add(self, fault: Fault) -> Fault:
        self._rules.append(fault)
        return fault

    @staticmethod
    def _prefix(device: Placed | str | None) -> str | None:
        return device if device is None or isinstance(device, str) else device.path
