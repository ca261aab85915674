"""A stored cook through the engine once more: the same events, or the engine as it stood at the end."""

from collections.abc import Iterator

from adapters.reading import Reading
from collector.engine import Engine, Event
from collector.model.action import Action, ActionKind
from collector.model.alarm import Transition
from collector.model.plan import Plan
from collector.store.record import Cook, Record
from collector.store.row import unix_of

__all__ = ["differences", "rebuild", "replay"]


def replay(archive: Record, cook: Cook) -> Iterator[Event]:
    """Yield all events of a stored cook as they happened, under the plans it ran under."""
    plans = archive.plans(cook)
    for k, (from_id, plan) in enumerate(plans):
        until = plans[k + 1][0] if k + 1 < len(plans) else None
        _, events = _run(archive, cook, plan, from_id, until)
        yield from events


def rebuild(archive: Record, cook: Cook, plan: Plan) -> tuple[Engine, list[Event]]:
    """Bring an engine with this plan to where the cook stands now; give the events on the way too."""
    return _run(archive, cook, plan, 0, None)


def _run(archive: Record, cook: Cook, plan: Plan, from_id: int, until_id: int | None) -> tuple[Engine, list[Event]]:
    """Run a cook through a new engine, keeping the events from one ordinal up to another."""
    engine = Engine(plan, cook.name, cook.started_unix)
    events: list[Event] = []
    for ordinal, told in archive.happenings(cook):
        if until_id is not None and ordinal >= until_id:
            break
        if isinstance(told, Reading):
            happened = engine.take(told, unix_of(ordinal))[1]
        elif isinstance(told, Action):
            happened = _again(engine, told, unix_of(ordinal))
        else:
            happened = engine.note(told, unix_of(ordinal))
        if happened and ordinal >= from_id:
            events += happened
    return engine, events


def _again(engine: Engine, action: Action, at_unix: float) -> list[Event]:
    """Do again what a person did; under an edited plan what it names may not be there, and time passes all the same.

    An event he spoke of was there when the collector's clock had brought the engine to that moment, so here too.
    """
    events: list[Event] = []
    if action.kind in (ActionKind.CONFIRM, ActionKind.DELETE):
        events = engine.advance(at_unix)
    try:
        return events + engine.act(action, at_unix)
    except KeyError:
        return events + engine.advance(at_unix)


def differences(archive: Record, cook: Cook) -> list[str]:
    """Compare the alarm log on disk with the one a replay gives; list what differs, empty when nothing does.

    Steps later than the last reading are left out: silence after it is on the log but not among the readings.
    """

    def line(step: Transition) -> str:
        return f"{step.time_unix:.3f} {step.key}: {step.before} -> {step.after} ({step.event}) {step.value!r}"

    def order(step: Transition) -> tuple[float, str, str]:
        return round(step.time_unix, 3), step.key, step.event

    end = cook.last_unix
    stored = [line(s) for s in sorted(archive.alarm_log(cook), key=order) if s.time_unix <= end]
    again = [
        line(s) for s in sorted((e for e in replay(archive, cook) if isinstance(e, Transition)), key=order)
        if s.time_unix <= end
    ]  # fmt: skip
    return [f"only on record: {s}" for s in stored if s not in set(again)] + [
        f"only in the replay: {s}" for s in again if s not in set(stored)
    ]
