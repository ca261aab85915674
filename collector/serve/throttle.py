"""Who has shown too many wrong tokens has to wait. Decides only; the time is given to it."""

import ipaddress
from collections import OrderedDict, deque

__all__ = ["Throttle", "house_of"]

WINDOW_SECONDS = 60.0
MOST_A_MINUTE = 10
"""Wrong tokens of one address."""
MOST_IN_ALL = 300
"""Wrong tokens a minute from everywhere; beyond it, one wrong token is enough to wait."""
MOST_ADDRESSES = 1024
"""Remembered; the one heard longest ago is forgotten first."""


def house_of(address: str) -> str:
    """Give what counts as one address: an IPv4 address; of IPv6 the /64, since each machine owns that many."""
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(found, ipaddress.IPv6Address):
        if found.ipv4_mapped is not None:
            return str(found.ipv4_mapped)
        return str(ipaddress.IPv6Network((found, 64), strict=False).network_address)
    return str(found)


class Throttle:
    """Counts wrong tokens by address, over the last minute. Times are monotonic seconds."""

    def __init__(self) -> None:
        self._wrong: OrderedDict[str, deque[float]] = OrderedDict()
        self._in_all: deque[float] = deque(maxlen=MOST_IN_ALL)

    def __len__(self) -> int:
        return len(self._wrong)

    def wait_seconds(self, address: str, now: float) -> float:
        """Say how long an address has to wait before its next token is looked at; 0: not at all."""
        house = house_of(address)
        wrong = self._wrong.get(house)
        if wrong is None:
            return 0.0
        while wrong and wrong[0] <= now - WINDOW_SECONDS:
            wrong.popleft()
        if not wrong:
            del self._wrong[house]
            return 0.0
        if len(wrong) >= MOST_A_MINUTE:
            return wrong[0] + WINDOW_SECONDS - now
        flooded = len(self._in_all) == MOST_IN_ALL and self._in_all[0] > now - WINDOW_SECONDS
        return wrong[-1] + WINDOW_SECONDS - now if flooded else 0.0

    def wrong(self, address: str, now: float) -> int:
        """Note a wrong token; give how many that address has shown in the last minute."""
        house = house_of(address)
        wrong = self._wrong.setdefault(house, deque(maxlen=MOST_A_MINUTE))
        wrong.append(now)
        self._wrong.move_to_end(house)
        if len(self._wrong) > MOST_ADDRESSES:
            self._wrong.popitem(last=False)
        self._in_all.append(now)
        return len(wrong)
