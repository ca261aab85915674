"""A stored cook through the engine once more: the same events, or the engine as it stood at the end.

A cook that was merged or split is replayed in the stretches in which it was judged, each by an engine that begins when
the one of then began; so it gives the same alarm log as well, unless what that engine had taken is no longer on record.
"""

from collections.abc import Iterator

from adapters.reading import Reading
from collector.engine import Engine, Event
from collector.model.action import Action, ActionKind
from collector.model.alarm import Transition
from collector.model.plan import Plan
from collector.model.vitals import DeviceVitals
from collector.store.keepsake import Part
from collector.store.record import Cook, Record
from collector.store.row import AFTER_SECONDS, unix_of
from collector.store.schema import SEQUENCE_BITS

__all__ = ["Told", "cut_off", "differences", "rebuild", "replay", "runs", "steps", "steps_between"]

Told = Reading | Action | DeviceVitals


def replay(archive: Record, cook: Cook) -> Iterator[Event]:
    """Yield all events of a stored cook as they happened, under the plans it ran under."""
    for part in archive.parts(cook):
        yield from _replay_part(archive, cook, part)


def _replay_part(archive: Record, cook: Cook, part: Part) -> Iterator[Event]:
    """Yield the events of one stretch; where what came before it is gone, of an engine that begins there."""
    first, last = unix_of(part.from_id), unix_of(part.until_id)
    for plan, began, since, until in _runs_of(archive, cook, part):
        engine, events = _run(archive, cook, plan, began, since, until)
        if until < part.until_id:  # it judged on until the plan was changed
            events += engine.advance(unix_of(until) - AFTER_SECONDS)
        yield from (event for event in events if first <= event.time_unix < last)


def runs(archive: Record, cook: Cook) -> list[tuple[Plan, float, int, int]]:
    """List the runs of an engine that a cook was judged in: plan, when that engine began, from and up to which ordinal.

    Each begins with all that its engine had taken before; what follows from that counts from the ordinal on.
    """
    return [run for part in archive.parts(cook) for run in _runs_of(archive, cook, part)]


def _runs_of(archive: Record, cook: Cook, part: Part) -> Iterator[tuple[Plan, float, int, int]]:
    began = part.began_unix if _is_whole(archive, part) else unix_of(part.from_id)
    plans = archive.plans(cook)
    for k, (from_id, plan) in enumerate(plans):
        until = min(plans[k + 1][0] if k + 1 < len(plans) else part.until_id, part.until_id)
        since = max(from_id, part.from_id)
        if since < until:
            yield plan, began, since, until


def _is_whole(archive: Record, part: Part) -> bool:
    """Tell whether all that the engine of a stretch had taken before it is on record still."""
    return archive.readings_between(_ordinal(part.began_unix), part.from_id) == part.readings


def cut_off(archive: Record, cook: Cook) -> list[Part]:
    """List the stretches of a cook that cannot be replayed exactly: the readings before them are not on record."""
    return [part for part in archive.parts(cook) if not _is_whole(archive, part)]


def rebuild(archive: Record, cook: Cook, plan: Plan) -> tuple[Engine, list[Event]]:
    """Bring an engine with this plan to where the cook stands now; give the events on the way too."""
    low, high = archive.bounds(cook)
    return _run(archive, cook, plan, cook.started_unix, low, high)


def _run(
    archive: Record, cook: Cook, plan: Plan, began_unix: float, from_id: int, until_id: int
) -> tuple[Engine, list[Event]]:
    """Run a new engine from a time on up to an ordinal, keeping the events from another ordinal on."""
    engine = Engine(plan, cook.name, began_unix)
    events: list[Event] = []
    for ordinal, _, happened in steps_between(archive, engine, _ordinal(began_unix), until_id):
        if happened and ordinal >= from_id:
            events += happened
    return engine, events


def steps(archive: Record, cook: Cook, engine: Engine) -> Iterator[tuple[int, Told, list[Event]]]:
    """Tell an engine all of a cook, one thing after the other; yield each with its ordinal and what followed."""
    yield from steps_between(archive, engine, *archive.bounds(cook))


def steps_between(archive: Record, engine: Engine, low: int, high: int) -> Iterator[tuple[int, Told, list[Event]]]:
    """Tell an engine what is on record from one ordinal up to another; yield each with ordinal and what followed."""
    for ordinal, told in archive.happenings_between(low, high):
        if isinstance(told, Reading):
            yield ordinal, told, engine.take(told, unix_of(ordinal))[1]
        elif isinstance(told, Action):
            yield ordinal, told, _again(engine, told, unix_of(ordinal))
        else:
            yield ordinal, told, engine.note(told, unix_of(ordinal))


def _ordinal(unix: float) -> int:
    return round(unix * 1000) << SEQUENCE_BITS


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

    Steps later than the last reading of a stretch are left out: silence after it is on the log but not among the
    readings. So is what `cut_off` lists: it cannot be compared.
    """

    def line(step: Transition) -> str:
        return f"{step.time_unix:.3f} {step.key}: {step.before} -> {step.after} ({step.event}) {step.value!r}"

    def order(step: Transition) -> tuple[float, str, str]:
        return round(step.time_unix, 3), step.key, step.event

    on_record = sorted(archive.alarm_log(cook), key=order)
    gone = {part.from_id for part in cut_off(archive, cook)}
    stored: list[str] = []
    again: list[str] = []
    for part in archive.parts(cook):
        if part.from_id in gone:
            continue
        first, last = unix_of(part.from_id), unix_of(part.until_id)
        end = archive.last_reading_between(part.from_id, part.until_id)
        stored += [line(s) for s in on_record if first <= s.time_unix < last and s.time_unix <= end]
        steps = [e for e in _replay_part(archive, cook, part) if isinstance(e, Transition)]
        again += [line(s) for s in sorted(steps, key=order) if s.time_unix <= end]
    return [f"only on record: {s}" for s in stored if s not in set(again)] + [
        f"only in the replay: {s}" for s in again if s not in set(stored)
    ]
