"""How much a channel takes: so many messages at once, and so many a minute after that."""

import msgspec

__all__ = ["TOKENS", "TOKENS_A_SECOND", "Bucket"]

TOKENS = 6.0
TOKENS_A_SECOND = TOKENS / 60.0


class Bucket(msgspec.Struct):
    """A token bucket, by a monotonic clock."""

    tokens: float = TOKENS
    at: float = 0.0

    def fill(self, now: float) -> float:
        """Let time pass; give the tokens there are."""
        self.tokens = min(TOKENS, self.tokens + max(0.0, now - self.at) * TOKENS_A_SECOND)
        self.at = now
        return self.tokens

    def take(self) -> None:
        """Take one; what is urgent may take what is not there yet, down to none."""
        self.tokens = max(0.0, self.tokens - 1.0)
