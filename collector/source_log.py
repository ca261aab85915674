"""What the log is told of sources: once each, not at every look."""

import logging
from collections.abc import Iterable

from adapters.source import LinkState
from adapters.text import clean_text
from collector.source_view import MOST_WORDS, why_of
from collector.supervisor import Supervision

__all__ = ["SourceLog"]

log = logging.getLogger(__name__)


class SourceLog:
    """Tells the log what has changed with the sources."""

    def __init__(self) -> None:
        self._unreadable: set[str] = set()
        self._lost: set[str] = set()

    def tell(self, sources: Iterable[Supervision]) -> None:
        """Look at each source."""
        for watched in sources:
            self._tell_unreadable(watched)
            self._tell_radio_link(watched)

    def _tell_unreadable(self, watched: Supervision) -> None:
        """Say, once a source, that it sends what cannot be read; the count goes on on the screen."""
        name, counts = watched.source.name, watched.source.counts
        if counts.undecodable and name not in self._unreadable:
            self._unreadable.add(name)
            said = clean_text(counts.last_error, MOST_WORDS)
            log.warning("source %s sends what cannot be read, it is counted from here on: %s", name, said)

    def _tell_radio_link(self, watched: Supervision) -> None:
        """Say when a radio device was lost, with the mend, and when it is back.

        Sources that raise when their link closes are told of by who starts them again.
        """
        source, link, name = watched.source, watched.source.link, watched.source.name
        up = link.state is LinkState.UP
        if source.vitals is None and not up and name not in self._lost:
            return
        if not up and name not in self._lost and link.state is LinkState.DOWN:
            self._lost.add(name)
            log.warning("source %s: %s", name, why_of(link))
        elif up and name in self._lost:
            self._lost.discard(name)
            log.info("source %s is heard again", name)
