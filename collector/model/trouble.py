"""One trouble for the many alarms that one cause raises: a dead source is not six silent probes. Pure.

What belongs together:

* a silent source, and two or more silent probes of one: the source; what is said of their lying goes with them;
* what is said of one probe, silent or lying: the probe;
* all cold spots, and the spread of the grate while a cold spot stands;
* the lid left open and the fire that fades behind it: the lid while it counts as open, the fire once it is shut.

Every other alarm is a trouble of its own. Shelved alarms and those out of service belong to none.
"""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence

from collector.snapshot import AlarmState, AlarmView, TroubleView

__all__ = ["could_be", "most_pressing_first", "troubles"]

AT_REST = (AlarmState.NORMAL, AlarmState.SHELVED, AlarmState.SUPPRESSED, AlarmState.OUT_OF_SERVICE)
WORST_FIRST = (
    AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED, AlarmState.LATCHED_UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED,
    AlarmState.LATCHED,
)  # fmt: skip
_FIXED = ("cold", "fire", "lid", "uneven")
FADING_FIRE = "fading fire"
"""Subject of the drift alarm for a level below its band."""
FADING_KEY = f"drift/{FADING_FIRE}"


def troubles(alarms: Sequence[AlarmView], source_of: Mapping[str, str], *, lid_open: bool) -> tuple[TroubleView, ...]:
    """Group alarms by what is wrong, the most pressing trouble first.

    Args:
        alarms: all that are not normal, the most pressing first.
        source_of: the source of each probe, by name.
        lid_open: the lid counts as open now.
    """
    standing = [alarm for alarm in alarms if alarm.state not in AT_REST]
    key_of = _keys(standing, source_of, lid_open=lid_open)
    groups: dict[str, list[AlarmView]] = {}
    for alarm in standing:
        groups.setdefault(key_of(alarm), []).append(alarm)
    made = [_trouble(key, members, source_of) for key, members in groups.items()]
    return most_pressing_first(made)


def most_pressing_first(found: Iterable[TroubleView]) -> tuple[TroubleView, ...]:
    """Put troubles in the order in which they ask for a person."""
    return tuple(sorted(found, key=lambda t: (WORST_FIRST.index(t.state), t.priority, t.since_unix)))


def could_be(key: str, source_of: Mapping[str, str]) -> bool:
    """Tell whether a trouble may have this key in a pit with these probes, whether it stands or not."""
    kind, _, name = key.partition("/")
    if kind == "probe":
        return name in source_of
    return key in _FIXED or (kind in ("source", "battery") and name in source_of.values())


def _keys(standing: Sequence[AlarmView], source_of: Mapping[str, str], *, lid_open: bool) -> Callable[[AlarmView], str]:
    """Say which trouble an alarm belongs to, given all that stand."""
    silent = [a.subject for a in standing if a.rule == "probe-silent"]
    heat = "lid" if lid_open else "fire"
    together = any(map(_falls, standing)) and any(alarm.rule == "lid-open" for alarm in standing)
    cold = any(a.rule == "cold-spot" and a.active for a in standing)

    def of_probe(name: str) -> str:
        source = source_of.get(name, "")
        many = name in silent and sum(source_of.get(other) == source for other in silent) >= 2
        return f"source/{source}" if many else f"probe/{name}"

    def key(alarm: AlarmView) -> str:
        match alarm.rule:
            case "probe-silent" | "probe-lying":
                return of_probe(alarm.subject)
            case "source-silent":
                return f"source/{alarm.subject}"
            case "cold-spot":
                return "cold"
            case "spread":
                return "cold" if cold else "uneven"
            case "lid-open":
                return heat if together else "lid"
            case "drift" | "pit-low":
                return heat if together and _falls(alarm) else "fire"
            case "battery-low":
                return f"battery/{alarm.subject}"
        return alarm.key

    return key


def _trouble(key: str, members: list[AlarmView], source_of: Mapping[str, str]) -> TroubleView:
    """Make one trouble of the alarms that belong to it."""
    first = _leads(key)
    coldest = {a.key: -a.value for a in members if key == "cold" and not math.isnan(a.value)}
    members = sorted(
        members, key=lambda a: (a.rule != first, not a.active, a.priority, coldest.get(a.key, 0.0), a.since_unix)
    )
    leading = members[0]
    return TroubleView(
        key,
        min(a.priority for a in members),
        min((a.state for a in members), key=WORST_FIRST.index),
        any(a.active for a in members),
        min(a.since_unix for a in members),
        _title(key, members, source_of),
        _advice(key, members),
        leading.value,
        leading.limit,
        leading.unit,
        tuple(a.key for a in members),
    )


def _falls(alarm: AlarmView) -> bool:
    """Tell whether an alarm is about a pit that loses its heat."""
    return alarm.rule == "pit-low" or alarm.key == FADING_KEY


def _leads(key: str) -> str:
    """Name the rule whose number tells most of a trouble."""
    kind = key.partition("/")[0]
    leads = {
        "cold": "cold-spot",
        "lid": "lid-open",
        "fire": "drift",
        "source": "source-silent",
        "probe": "probe-silent",
    }
    return leads.get(kind, "")


def _title(key: str, members: Sequence[AlarmView], source_of: Mapping[str, str]) -> str:
    kind, _, name = key.partition("/")
    rules = {a.rule for a in members}
    if kind == "source":
        silent = sum(a.rule == "probe-silent" for a in members)
        owned = sum(source == name for source in source_of.values())
        if silent < owned and "source-silent" not in rules:
            return f"{silent} of {owned} probes of source {name} are silent"
        return f"source {name} is silent: {owned} probes"
    if kind == "probe":
        words = [word for rule, word in (("probe-silent", "is silent"), ("probe-lying", "lies")) if rule in rules]
        return f"probe {name} {' and '.join(words)}"
    if key == "cold":
        cold = [a for a in members if a.rule == "cold-spot"]
        named = [a.subject for a in cold if a.active] or [a.subject for a in cold]
        return f"{named[0]} runs cold" if len(named) == 1 else f"{len(named)} zones run cold: {', '.join(named)}"
    if kind == "battery":
        return f"the battery of {name} runs low"
    return _split(members[0])[0]


def _advice(key: str, members: Sequence[AlarmView]) -> str:
    """Say what to look at: what the members say, each once."""
    if key.startswith("source/"):
        return "look at its power and its link"
    said = [_split(alarm)[1] for alarm in members if alarm.rule != "spread" or key != "cold"]
    return "; ".join(dict.fromkeys(words for words in said if words))


def _split(alarm: AlarmView) -> tuple[str, str]:
    """Part an alarm's message into what stands and what to look at."""
    said = alarm.message or f"{alarm.rule} {alarm.subject}"
    cut = min((at for at in (said.find(":"), said.find(";")) if at >= 0), default=len(said))
    return said[:cut], said[cut + 1 :].strip()
