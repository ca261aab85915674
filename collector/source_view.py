"""A source as the screens show it."""

from adapters.source import Link, LinkState
from adapters.text import clean_text
from collector.pipeline import Pipeline
from collector.snapshot import SourceView
from collector.supervisor import Supervision

__all__ = ["source_view", "why_of"]

MOST_WORDS = 300
"""Characters of an error that are shown."""


def source_view(watched: Supervision, pipeline: Pipeline) -> SourceView:
    """Show a source, with what became of its readings in the pipeline."""
    source, link = watched.source, watched.source.link
    why = why_of(link)
    if watched.fault and link.state is not LinkState.UP:
        why = watched.fault
    unplaced = tuple(sorted(key for s, key in pipeline.unplaced if s == source.name))
    counts, vitals = source.counts, source.vitals
    return SourceView(
        name=source.name,
        kind=type(source).__name__,
        state=link.state,
        why="" if link.state is LinkState.UP else clean_text(why, MOST_WORDS),
        heard=counts.heard,
        dropped=counts.dropped + pipeline.refused.get(source.name, 0),
        undecodable=counts.undecodable,
        last_error=clean_text(counts.last_error, MOST_WORDS),
        perhaps_twice=counts.perhaps_twice,
        skipped=counts.skipped,
        last_heard_unix=watched.last_heard_unix,
        restarts=watched.restarts + counts.relinked,
        unplaced=unplaced[:32],
        rssi_dbm=vitals.rssi_dbm if vitals else None,
        battery_percent=vitals.battery_percent if vitals else None,
        packets_per_minute=vitals.packets_per_minute if vitals else None,
    )


def why_of(link: Link) -> str:
    """Say why a link is not up."""
    return ": ".join(str(word) for word in (link.reason, link.detail) if word)
