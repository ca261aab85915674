"""Where the readings come from and whether they are safe: sources, probes in doubt, the store."""

from adapters.source import LinkState
from collector.snapshot import KitchenView, Snapshot, SourceView, StoreView
from collector.words import WRONG_CLOCK_WORDS
from tui.draw.clean import clean
from tui.draw.line import Line, Role, fit, wrapped
from tui.draw.meat import doubt_words
from tui.draw.sensor_class import outside_words
from tui.draw.view import View
from tui.draw.words import age, clock

__all__ = ["fault_words", "kitchen_line", "radio_words", "source_lines", "store_line"]


def source_lines(snapshot: Snapshot, view: View, width: int) -> list[Line]:
    """Write the store, each source with its counts and unplaced keys, then every probe in doubt or out of its class."""
    told = bool(snapshot.store.path or snapshot.sources)
    lines = [store_line(snapshot.store, snapshot.now_unix)] if told else []
    if snapshot.store.kitchen is not None:
        lines.append(kitchen_line(snapshot.store.kitchen, snapshot.now_unix))
    lines += [((words, "alarm" if critical else "warn"),) for words, critical in fault_words(snapshot, view)]
    for source in snapshot.sources:
        lines += _source_lines(source, snapshot.now_unix, view, width)
    if not told:  # the engine alone, of a past cook
        lines.append((("links and disk of then are not on record", "faint"),))
    elif not snapshot.sources:
        lines.append((("no source", "warn"),))
    for probe in snapshot.probes:
        doubt = doubt_words(probe, snapshot.now_unix)
        if doubt:
            lines.append(((f"probe {probe.name}: ", "plain"), (doubt, "warn")))
        elif probe.reason in WRONG_CLOCK_WORDS:
            lines.append(((f"probe {probe.name}: {WRONG_CLOCK_WORDS[probe.reason]}", "warn"),))
        outside = outside_words(probe)
        if outside:
            lines.append(((f"probe {probe.name}: {outside}", "faint"),))
    return [row for line in lines for row in wrapped(line, width, 4)]


def fault_words(snapshot: Snapshot, view: View) -> list[tuple[str, bool]]:
    """Say which parts of coldside fail, since when and how often; and of each whether the night depends on it."""
    found = []
    for fault in snapshot.faults:
        words = f"FAULT of coldside's: {clean(fault.part, 60)} not available since {clock(fault.since_unix, view)}"
        words += f", failed {fault.count} times ({clean(fault.error, 80)})"
        if fault.good_unix is not None:
            words += f"; what is shown is from {clock(fault.good_unix, view)}"
        found.append((words, fault.critical))
    return found


def radio_words(source: SourceView) -> str:
    """Say how a radio device is heard and how long it will last; empty where there is no radio."""
    words: list[str] = []
    if source.rssi_dbm is not None:
        words.append(f"signal {source.rssi_dbm} dBm")
    if source.battery_percent is not None:
        words.append(f"battery {source.battery_percent:.0f} %")
    if source.packets_per_minute is not None:
        words.append(f"{source.packets_per_minute:.0f} packets/min")
    return ", ".join(words)


def store_line(store: StoreView, now_unix: float) -> Line:
    """Say what is safe on disk."""
    if store.fault:
        return ("NOT SAVED: ", "alarm"), (f"{store.fault}; {store.unsaved} readings wait in memory", "alarm")
    if store.throwaway:
        return (("throwaway store: nothing is kept after the end", "warn"),)
    if store.last_commit_unix is None:
        return (("store: nothing saved yet", "warn"), (f", {store.unsaved} waiting", "plain"))
    saved = age(now_unix - store.last_commit_unix)
    return ("store: ", "faint"), (f"saved {saved} ago, {store.unsaved} waiting", "plain")


def kitchen_line(kitchen: KitchenView, now_unix: float) -> Line:
    """Say how far the server's copy goes."""
    level = "" if kitchen.level_unix is None else f", it has all up to {age(now_unix - kitchen.level_unix)} ago"
    if kitchen.fault:
        return ("kitchen: ", "faint"), (f"kept here until its server takes it{level}: {clean(kitchen.fault)}", "warn")
    return ("kitchen: ", "faint"), (f"{clean(kitchen.where)}{level}", "plain")


def _source_lines(source: SourceView, now_unix: float, view: View, width: int) -> list[Line]:
    up = source.state is LinkState.UP
    state: Role = "good" if up else "warn" if source.state is not LinkState.DOWN else "alarm"
    heard = "never heard" if source.last_heard_unix is None else f"{age(now_unix - source.last_heard_unix)} ago"
    name_cells = max(8, min(18, width - 30))
    first: Line = (
        (fit(source.name, name_cells, ascii_only=view.ascii_only) + " ", "plain"),
        (str(source.state).upper() if not up else "up", state),
        (f"  {heard}, {source.heard} heard", "plain"),
    )
    lines = [first]
    radio = radio_words(source)
    if radio:
        lines.append(((f"  {radio}", "faint"),))
    troubles = [
        (source.dropped, "dropped"), (source.undecodable, "unreadable"), (source.restarts, "restarts"),
        (source.perhaps_twice, "perhaps twice"), (source.skipped, "of another kind"),
    ]  # fmt: skip
    told = ", ".join(f"{count} {what}" for count, what in troubles if count)
    if source.why:
        lines.append(((f"  {clean(source.why, 300, ascii_only=view.ascii_only)}", state),))
    if told:
        lines.append(((f"  {told}", "warn"),))
    if source.undecodable and source.last_error:
        lines.append(((f"  last: {clean(source.last_error, 120, ascii_only=view.ascii_only)}", "faint"),))
    if source.unplaced:
        keys = ", ".join(clean(key, ascii_only=view.ascii_only) for key in source.unplaced)
        lines.append((("  no place for: ", "warn"), (keys, "plain")))
    return lines
