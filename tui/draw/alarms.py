"""Alarms in words: one line each for the list, and the most pressing one for the line that is always there."""

from textwrap import wrap

from collector.snapshot import AlarmState, AlarmView, Snapshot
from tui.draw.line import Line, Role, fit
from tui.draw.view import View
from tui.draw.words import PRIORITY_WORDS, STATE_WORDS, age, alarm_sentence, clock

__all__ = ["alarm_lines", "pressing", "pressing_line", "role_of"]

CALLING = (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED)
AT_REST = (AlarmState.SHELVED, AlarmState.SUPPRESSED, AlarmState.OUT_OF_SERVICE)


def pressing(snapshot: Snapshot) -> list[AlarmView]:
    """List the alarms that want a person: not shelved, not suppressed; unacknowledged first."""
    standing = [a for a in snapshot.alarms if a.state not in AT_REST and a.state is not AlarmState.NORMAL]
    return sorted(standing, key=lambda a: (a.state is not AlarmState.UNACKNOWLEDGED, a.state not in CALLING))


def role_of(alarm: AlarmView) -> Role:
    """Choose how loud an alarm looks."""
    if alarm.state is AlarmState.UNACKNOWLEDGED:
        return "alarm"
    if alarm.state in AT_REST:
        return "faint"
    return "warn"


def alarm_lines(alarm: AlarmView, now_unix: float, view: View, width: int) -> list[Line]:
    """Write an alarm as its sentence, in as many lines as it takes, then its state and age."""
    role = role_of(alarm)
    sign = "!" if alarm.state in CALLING else "-" if alarm.state in AT_REST else "*"
    state = STATE_WORDS[alarm.state]
    if alarm.shelved_until_unix is not None:
        state += f" until {clock(alarm.shelved_until_unix, view)}"
    stands = "" if alarm.active else ", over"
    second = f"  {PRIORITY_WORDS[alarm.priority]}, {state}{stands}, {age(now_unix - alarm.since_unix)}"
    sentence = wrap(f"{sign} {alarm_sentence(alarm, view)}", max(8, width), subsequent_indent="  ")
    return [
        *(((text, role),) for text in sentence),
        ((fit(second, width, ascii_only=view.ascii_only).rstrip(), "plain" if role == "alarm" else "faint"),),
    ]


def pressing_line(snapshot: Snapshot, view: View, width: int) -> Line:
    """Write the one line that is always on the screen."""
    wanting = pressing(snapshot)
    if not wanting:
        shelved = sum(a.state is AlarmState.SHELVED for a in snapshot.alarms)
        return ((" no alarm" + (f", {shelved} shelved" if shelved else ""), "faint"),)
    first = wanting[0]
    more = f"  +{len(wanting) - 1} more" if len(wanting) > 1 else ""
    state = f"{STATE_WORDS[first.state]}, {age(snapshot.now_unix - first.since_unix)}{more} "
    room = width - len(state) - 2
    text = fit(f" {alarm_sentence(first, view)}", max(10, room), ascii_only=view.ascii_only)
    return (f"{text}  {state}", role_of(first)), ("", "plain")
