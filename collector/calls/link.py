"""Links by which whoever was told of a trouble acknowledges it, and nothing else. Pure.

A link is `ADDRESS/acknowledge#TOKEN`: what stands behind `#` no browser sends to any server (RFC 3986, 3.5), so it is
in no log, and the previews of chats do not have it. A token is number of the call, end of its time and an HMAC-SHA-256
(RFC 2104) over these, the cook, the person and the channel. The last two are not in it: whoever checks tries all that
the config has.
"""

import base64
import binascii
import hmac
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

import msgspec

__all__ = ["TOKEN_CHARACTERS", "VALID_MS", "Claim", "Links", "Tapped"]

VALID_MS = 12 * 3600 * 1000
"""A link is good for twelve hours after its message was due."""
PURPOSE = "coldside: acknowledge, 1"
"""Signed too, so that the key may serve for something else one day."""
CALL_BYTES, UNTIL_BYTES, MAC_BYTES = 4, 6, 32
TOKEN_CHARACTERS = (CALL_BYTES + UNTIL_BYTES + MAC_BYTES) // 3 * 4
"""42 bytes in base64url (RFC 4648, 5) need no padding, so that no two texts are the same token."""


class Claim(msgspec.Struct, frozen=True):
    """What a token says."""

    call: int
    """0: a test."""
    person: str
    channel: str
    until_ms: int
    """End of its time, milliseconds since the epoch by the cook's clock."""


class Tapped(msgspec.Struct, frozen=True):
    """What whoever taps a link is told."""

    state: Literal["open", "done", "ended", "failed"]
    """`open`: it can be acknowledged; `done`: it was, by this; `ended`: there is nothing to do any more."""
    pit: str
    title: str
    text: str


@dataclass(frozen=True, slots=True)
class Links:
    """Makes links and reads their tokens, for one cook.

    Args:
        base: address under which a phone reaches the collector, without a slash at its end.
        key: secret, 32 bytes.
        cook: name of the cook.
    """

    base: str
    key: bytes = field(repr=False)
    cook: str

    def link(self, claim: Claim) -> str:
        """Make the link of a claim."""
        return f"{self.base}/acknowledge#{self.token(claim)}"

    def token(self, claim: Claim) -> str:
        """Make the token of a claim.

        Raises:
            OverflowError: the number of the call or the time is out of bounds.
        """
        head = claim.call.to_bytes(CALL_BYTES, "big") + claim.until_ms.to_bytes(UNTIL_BYTES, "big")
        return base64.urlsafe_b64encode(head + self._mac(claim)).decode("ascii")

    def claim(self, token: str, told: Iterable[tuple[str, str]]) -> Claim | None:
        """Read a token; None where it is none of ours. Whether its time is over is not looked at.

        Args:
            token: as it came.
            told: persons and channels; all are tried, each in constant time, so that time tells nothing.
        """
        raw = _bytes_of(token)
        if raw is None:
            return None
        call = int.from_bytes(raw[:CALL_BYTES], "big")
        until_ms = int.from_bytes(raw[CALL_BYTES : CALL_BYTES + UNTIL_BYTES], "big")
        found = None
        for person, channel in told:
            claim = Claim(call, person, channel, until_ms)
            if hmac.compare_digest(self._mac(claim), raw[CALL_BYTES + UNTIL_BYTES :]):
                found = claim
        return found

    def _mac(self, claim: Claim) -> bytes:
        words = msgspec.json.encode([PURPOSE, self.cook, claim.call, claim.person, claim.channel, claim.until_ms])
        return hmac.digest(self.key, words, "sha256")


def _bytes_of(token: str) -> bytes | None:
    """Decode a token; None unless it is written in the one way in which we write it."""
    if len(token) != TOKEN_CHARACTERS or not token.isascii():
        return None
    try:
        raw = base64.b64decode(token, b"-_", validate=True)
    except binascii.Error:
        return None
    return raw if base64.urlsafe_b64encode(raw) == token.encode("ascii") else None
