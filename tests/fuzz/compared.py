"""A cook as it was lived through beside the one that a replay gives."""

import msgspec
from msgspec.structs import replace

from collector.engine import Event
from collector.model.alarm import Transition
from collector.model.meat.piece import MeatPhase
from collector.snapshot import Snapshot, TrendPoint
from tests.fuzz.failures import must
from tests.fuzz.views import canonical

__all__ = ["by_record", "mark_of", "same", "texts_in"]


def by_record(snapshot: Snapshot) -> Snapshot:
    """Leave out what a piece of meat shows by the moment at which somebody looked: it is worked out once a minute."""
    off = (MeatPhase.WAITING, MeatPhase.HOLDING)
    meat = tuple(
        replace(m, late_seconds=0.0, air_needed_celsius=0.0, held_seconds=0.0, plan=()) if m.phase in off else m
        for m in snapshot.meat
    )
    return replace(snapshot, meat=meat)


def mark_of(event: Event) -> object:
    return None if isinstance(event, Transition | TrendPoint) else event


def same(where: str, lived: object, replayed: object) -> None:
    one, other = canonical(lived), canonical(replayed)
    if one != other:
        at = next((k for k, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
        must(
            False, where, f"lived ...{one[max(0, at - 120) : at + 80]}\nreplayed ...{other[max(0, at - 120) : at + 80]}"
        )


def texts_in(value: object) -> list[str]:
    """Collect every text in a value."""
    found, waiting = [], [msgspec.to_builtins(value)]
    while waiting:
        one = waiting.pop()
        if isinstance(one, str):
            found.append(one)
        elif isinstance(one, dict):
            waiting += one.values()
        elif isinstance(one, list | tuple):
            waiting += one
    return found
