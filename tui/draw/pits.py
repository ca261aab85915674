"""Several pits in one line: which is shown, how each stands, its grate; and which of them is in trouble first."""

from collections.abc import Iterator, Sequence
from enum import IntEnum

import msgspec

from collector.snapshot import CALLING, AlarmState, Phase, Priority, Snapshot
from tui.draw.alarms import pressing_line, wanting
from tui.draw.banner import Trouble
from tui.draw.clean import clean
from tui.draw.line import Line, Part, Role, fit
from tui.draw.view import View
from tui.draw.words import PRIORITY_WORDS, temperature

__all__ = ["PitGlance", "Rank", "Strip", "alarm_line", "first_in_trouble", "pit_rank", "strip"]

LEAST_NAME = 4
"""Cells of a name below which pits are folded away instead."""


class Rank(IntEnum):
    """How much a pit wants a person."""

    AWAY = 0
    """Never reached so far, or just connected: nothing is known of it, and it may not be lit tonight."""
    WELL = 1
    SEEN = 2
    """Alarms stand, and somebody has seen them."""
    NOTE = 3
    CHECK = 4
    LOST = 5
    """Its collector went silent, cannot be read, or does not save."""
    URGENT = 6


_RANK = {Priority.URGENT: Rank.URGENT, Priority.SOON: Rank.CHECK, Priority.NOTE: Rank.NOTE}
_SHORTER = {
    "NO LINK": "LOST", "STALE": "OLD", "NOT SAVED": "DISK", "waiting": "wait", "URGENT": "URG", "CHECK": "CHK",
    "note": "note", "seen": "seen", "all well": "ok",
    "not lit": "cold",
}  # fmt: skip
"""What a state is called where there is hardly any room; the help says what they mean."""


class PitGlance(msgspec.Struct, frozen=True):
    """One of several pits, as far as a glance at it tells."""

    name: str
    snapshot: Snapshot | None
    """None: nothing has come from it yet."""
    trouble: Trouble | None
    """Between the screen and the truth; None when there is none."""


def waiting(pit: PitGlance) -> tuple[int, Priority | None]:
    """Count what waits for somebody, with the worst priority of it; None when nothing does."""
    calling = [one.priority for one in wanting(pit.snapshot) if one.state in CALLING] if pit.snapshot else []
    return len(calling), min(calling, default=None)


def pit_rank(pit: PitGlance) -> Rank:
    """Say how much a pit wants a person, by the worse of its link and its alarms."""
    link = Rank.WELL
    if pit.trouble is not None and pit.trouble.short:
        if pit.trouble.role != "alarm":
            return Rank.AWAY
        link = Rank.LOST
    _, priority = waiting(pit)
    if priority is not None:
        return max(link, _RANK[priority])
    return max(link, Rank.SEEN if pit.snapshot and wanting(pit.snapshot) else Rank.WELL)


def first_in_trouble(pits: Sequence[PitGlance], otherwise: int) -> int:
    """Give the index of the pit that wants a person most; of equals, the one that is looked at, else the first."""
    return max(range(len(pits)), key=lambda i: (pit_rank(pits[i]), i == otherwise, -i))


def alarm_line(pits: Sequence[PitGlance], shown: int, view: View, cells: int) -> Line:
    """Write the line that is always on the screen: of the pit shown, or of one that is worse off, named."""
    worst = first_in_trouble(pits, shown)
    pit = pits[worst]
    if worst == shown or pit_rank(pit) <= Rank.SEEN:
        own = pits[shown].snapshot
        return pressing_line(own, view, cells) if own is not None else ()
    name = clean(pit.name, max(8, cells // 5), ascii_only=view.ascii_only)
    if pit.trouble is not None and pit.trouble.short and pit_rank(pit) is Rank.LOST:
        said = fit(f" {name}: {pit.trouble.headline}; {pit.trouble.meaning}", cells, ascii_only=view.ascii_only)
        return ((said.rstrip() + " ", pit.trouble.role),)
    assert pit.snapshot is not None
    return pressing_line(pit.snapshot, view, cells, name)


class Strip(msgspec.Struct, frozen=True):
    """The strip, and which pit stands where in it."""

    line: Line
    cells: tuple[tuple[int, int, int], ...]
    """First cell, cell behind the last, index of the pit."""

    def pit_at(self, cell: int) -> int | None:
        """Give the index of the pit at a cell; None between them."""
        return next((pit for start, stop, pit in self.cells if start <= cell < stop), None)


def strip(pits: Sequence[PitGlance], shown: int, view: View, cells: int) -> Strip:
    """Write one line that names every pit; what finds no room is folded away at either end, with its worst state.

    Args:
        pits: all of them.
        shown: index of the one on the screen; it stands in brackets.
        view: how things are shown.
        cells: width there is.
    """
    for texts in _forms(pits, view):
        if sum(len(text) + 2 for text in texts) + len(texts) - 1 <= cells:
            return _joined(pits, shown, list(enumerate(texts)), view)
    kept = max(1, (cells - 2 * len(_fold(pits, 99, view)[0]) - 1) // (len(_least(0, pits[0], view)) + 3))
    start = min(max(0, shown - kept // 2), len(pits) - kept)
    return _joined(pits, shown, [(i, _least(i, pits[i], view)) for i in range(start, start + kept)], view)


def _forms(pits: Sequence[PitGlance], view: View) -> Iterator[list[str]]:
    """Give the texts of all pits, each form shorter than the one before."""
    names = [clean(pit.name, 60, ascii_only=view.ascii_only) for pit in pits]
    long = [_state(pit)[0] for pit in pits]
    short = [_SHORTER.get(word, word) for word in (_word(pit) for pit in pits)]
    grates = [_grate(pit, view) for pit in pits]
    yield [f"{i} {n}: {s}{g}" for i, (n, s, g) in enumerate(zip(names, long, grates, strict=True), 1)]
    brief = [state.replace("all well", "well") for state in long]
    yield [f"{i} {n}: {s}{g}" for i, (n, s, g) in enumerate(zip(names, brief, grates, strict=True), 1)]
    yield [f"{i} {n}: {s}" for i, (n, s) in enumerate(zip(names, long, strict=True), 1)]
    yield [f"{i} {n} {s}{g}" for i, (n, s, g) in enumerate(zip(names, short, grates, strict=True), 1)]
    longest = max(len(name) for name in names)
    for room in range(longest, LEAST_NAME - 1, -1):
        yield [f"{i} {_cut(n, room, view)} {s}" for i, (n, s) in enumerate(zip(names, short, strict=True), 1)]


def _cut(name: str, room: int, view: View) -> str:
    return fit(name, room, ascii_only=view.ascii_only).rstrip()


def _least(index: int, pit: PitGlance, view: View) -> str:
    """Write a pit in the least room: always of one width, so that folding keeps still."""
    name = _cut(clean(pit.name, 60, ascii_only=view.ascii_only), LEAST_NAME, view)
    return f"{index + 1:>2} {name:{LEAST_NAME}} {_SHORTER.get(_word(pit), _word(pit)):4}"


def _grate(pit: PitGlance, view: View) -> str:
    if pit.snapshot is None or (pit.trouble is not None and pit.trouble.old):
        return ""
    return f", {temperature(pit.snapshot.fire.level_celsius, view)}"


def _word(pit: PitGlance) -> str:
    """Name the state of a pit in one word of the table above."""
    if pit.trouble is not None and pit.trouble.short:
        return pit.trouble.short
    _, priority = waiting(pit)
    if priority is not None:
        return PRIORITY_WORDS[priority]
    if pit.snapshot and wanting(pit.snapshot):
        return "seen"
    unlit = pit.snapshot is not None and pit.snapshot.fire.phase in (Phase.COLD, Phase.UNKNOWN)
    return "not lit" if unlit else "all well"


def _state(pit: PitGlance) -> tuple[str, Role]:
    """Say how a pit stands, and how loud that looks."""
    word, (count, priority), rank = _word(pit), waiting(pit), pit_rank(pit)
    role: Role = "alarm" if rank >= Rank.LOST else "plain" if rank is Rank.WELL else "warn"
    if priority is not None:
        told = f"{count} {PRIORITY_WORDS[priority]}"
        return (told if word == PRIORITY_WORDS[priority] else f"{word}, {told}"), role
    if word == "seen" and pit.snapshot is not None:
        standing = [one for one in wanting(pit.snapshot) if one.state is not AlarmState.NORMAL]
        return f"{len(standing)} seen", role
    return word, role


def _fold(pits: Sequence[PitGlance], count: int, view: View) -> Part:
    """Stand for pits there is no room for: how many, and the worst of their states."""
    if not count:
        return "", "plain"
    worst = max(pits, key=pit_rank)
    sign = "+" if view.ascii_only else "…"
    return f"{sign}{count:<2} {_SHORTER.get(_word(worst), _word(worst)):4}", _state(worst)[1]


def _joined(pits: Sequence[PitGlance], shown: int, kept: list[tuple[int, str]], view: View) -> Strip:
    """Put the kept ones side by side, and what stands for the others before and behind them."""
    first, last = kept[0][0], kept[-1][0]
    parts: list[Part] = []
    places: list[tuple[int, int, int]] = []
    before, behind = pits[:first], pits[last + 1 :]
    used = 0
    if before:
        parts.append(_fold(before, len(before), view))
        used = len(parts[0][0])
    for i, text in kept:
        if parts:
            parts.append((" ", "plain"))
            used += 1
        written = f"[{text}]" if i == shown else f" {text} "
        role = _state(pits[i])[1]
        parts.append((written, "strong" if i == shown and role == "plain" else role))
        places.append((used, used + len(written), i))
        used += len(written)
    if behind:
        parts += [(" ", "plain"), _fold(behind, len(behind), view)]
    return Strip(tuple(parts), tuple(places))
