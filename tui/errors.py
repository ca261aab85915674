"""What can go wrong between a collector and a dashboard.

TuiError
├── ClientError          the collector could not be asked
│   ├── VersionRefused   it speaks another version: carries both
│   ├── NotConnected     there is no link now
│   ├── NoReply          it did not answer in time
│   ├── LinkEnded        there was or came to be no link: carries how soon to ask again
│   └── WayError         the way to it cannot be used: token, certificate
└── TerminalUnfit        this terminal cannot show the dashboard
"""

__all__ = [
    "ClientError",
    "LinkEnded",
    "NoReply",
    "NotConnected",
    "TerminalUnfit",
    "TuiError",
    "VersionRefused",
    "WayError",
]


class TuiError(Exception):
    """Base of everything this package raises on purpose."""


class ClientError(TuiError):
    """The collector could not be asked."""


class VersionRefused(ClientError):  # noqa: N818  says what happened
    """The collector speaks another version of the feed."""

    def __init__(self, theirs: int, ours: int, coldside: str) -> None:
        super().__init__(theirs, ours, coldside)
        self.theirs = theirs
        self.ours = ours
        self.coldside = coldside

    def __str__(self) -> str:
        return (
            f"the collector (coldside {self.coldside}) speaks version {self.theirs} of the feed, this dashboard "
            f"version {self.ours}: install the same coldside on both, then start the dashboard again"
        )


class NotConnected(ClientError):  # noqa: N818  says what happened
    """There is no link to the collector now."""


class NoReply(ClientError):  # noqa: N818  says what happened
    """The collector did not answer in time."""


class LinkEnded(ClientError):  # noqa: N818  says what happened
    """The link to the collector ended, or could not be had.

    Args:
        why: in a cook's words.
        advice: what to look at, for whoever asked only once; the dashboard goes on asking.
        patience_seconds: wait at least so long before asking again.
    """

    def __init__(self, why: str, *, advice: str = "", patience_seconds: float = 0.0) -> None:
        super().__init__(why)
        self.advice = advice
        self.patience_seconds = patience_seconds


class WayError(ClientError):
    """The way to the collector cannot be used as it was described."""


class TerminalUnfit(TuiError):  # noqa: N818  says what happened
    """The terminal cannot show the dashboard."""
