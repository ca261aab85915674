"""Answers who opens a link of a message: what it stands for, whether it still can be acknowledged, and that it is."""

import datetime as dt
from collections.abc import Callable
from typing import Literal

from collector.calls.escalation import Call
from collector.calls.link import VALID_MS, Claim, Links, Tapped
from collector.calls.message import TEST
from collector.calls.outbox import Outbox
from collector.calls.record import ACKNOWLEDGED, MORE_URGENT

__all__ = ["Taps"]

OF_ANOTHER = "This link is of a call that has ended. Where something still calls, tap the link in the newest message."
INSTEAD = "acknowledge on the phone page, with k in the dashboard, or by coldside alarms ack"


class Taps:
    """Carries out what links allow.

    Args:
        links: reads the tokens.
        outbox: the calls.
        told: persons and channels that a link may have been sent to.
        acknowledge: acknowledges a trouble by its key, with the words for the record; says why not.
        look: lets the outbox see the troubles as they stand.
        now: tells the cook's time.
        pit: name of the pit.
        zone: where times are told; the machine's own when None.
    """

    def __init__(
        self,
        links: Links,
        outbox: Outbox,
        told: tuple[tuple[str, str], ...],
        *,
        acknowledge: Callable[[str, str], str],
        look: Callable[[], None],
        now: Callable[[], float],
        pit: str,
        zone: dt.tzinfo | None = None,
    ) -> None:
        self._links, self._outbox, self._told = links, outbox, told
        self._acknowledge, self._look, self._now = acknowledge, look, now
        self._pit, self._zone = pit, zone

    def tap(self, token: str, *, act: bool) -> Tapped | None:
        """Answer a token.

        Args:
            token: as it came.
            act: acknowledge; else only say what it stands for.

        Returns:
            What to say; None where the token is none of ours: forged, cut, of another pit or another cook.
        """
        claim = self._links.claim(token, self._told)
        if claim is None:
            return None
        if claim.call == 0:
            return self._tap_test(claim, act=act)
        self._look()  # what was acknowledged by another way a moment ago has ended
        call = self._outbox.open_call(claim.call)
        if call is None:
            return self._ended(claim)
        if _before(claim, call):
            return self._say("ended", "", OF_ANOTHER)
        title = self._outbox.title(call.trouble)
        if round(self._now() * 1000) >= claim.until_ms:
            until = self._clock(claim.until_ms / 1000)
            return self._say("ended", title, f"This link was good for 12 hours, until {until}. Instead {INSTEAD}.")
        if not act:
            return self._say("open", title, f"Called since {self._clock(call.began_unix)}. Nobody has acknowledged it.")
        who = _who(claim)
        self._outbox.credit(call.number, who)
        why = self._acknowledge(call.trouble, who)
        self._look()
        if why or self._outbox.open_call(call.number) is not None:
            self._outbox.credit(call.number, "")
            return self._say("failed", title, f"NOT acknowledged: {why or 'it calls again'}. Instead {INSTEAD}.")
        return self._done(title)

    def _tap_test(self, claim: Claim, *, act: bool) -> Tapped:
        test, title = self._outbox.proof.test, "a test of the wake-up"
        if test is None or round(test.began_unix * 1000) + VALID_MS != claim.until_ms:
            return self._say("ended", title, "This test is over. Nothing is wrong; there is nothing to do.")
        if test.acknowledged_unix is not None:
            return self._say("ended", title, self._already(test.acknowledged_unix, test.by))
        if not test.stands(self._now()):
            return self._say("ended", title, f"This test was over at {self._clock(test.until_unix)}. Nothing is wrong.")
        if not act:
            return self._say("open", title, "Nothing is wrong. Acknowledge it to prove that messages wake you.")
        if why := self._acknowledge(TEST, _who(claim)):
            return self._say("failed", title, f"NOT acknowledged: {why}. Instead {INSTEAD}.")
        return self._done(title)

    def _ended(self, claim: Claim) -> Tapped:
        row = self._outbox.ended.get(claim.call)
        if row is None or row.ended_unix is None or _before(claim, row.call):
            return self._say("ended", "", OF_ANOTHER)
        title, at = self._outbox.title(row.call.trouble), self._clock(row.ended_unix)
        if row.why.startswith(ACKNOWLEDGED):
            by = row.why.removeprefix(ACKNOWLEDGED).removeprefix(" by ")
            return self._say("ended", title, self._already(row.ended_unix, by))
        if row.why == MORE_URGENT:
            text = f"This became more urgent at {at}, and a newer message was sent. Take the link in that one."
            return self._say("ended", title, text)
        return self._say("ended", title, f"This was over at {at}. There is nothing to acknowledge any more.")

    def _already(self, unix: float, by: str) -> str:
        by = by or "somebody in another way than a link"
        return f"This was acknowledged already, at {self._clock(unix)} by {by}."

    def _done(self, title: str) -> Tapped:
        return self._say("done", title, f"Acknowledged at {self._clock(self._now())}.")

    def _say(self, state: Literal["open", "done", "ended", "failed"], title: str, text: str) -> Tapped:
        return Tapped(state, self._pit, title, text)

    def _clock(self, unix: float) -> str:
        return dt.datetime.fromtimestamp(unix, dt.UTC).astimezone(self._zone).strftime("%H:%M")


def _before(claim: Claim, call: Call) -> bool:
    """Tell whether a link is older than the call of its number: a store that was set aside numbers its calls anew."""
    return claim.until_ms - VALID_MS < round(call.began_unix * 1000)


def _who(claim: Claim) -> str:
    """Say for the record whose link it was: who holds the telephone nobody knows."""
    return f"the link sent to {claim.person} by {claim.channel}"
