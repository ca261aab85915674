"""Alarms and troubles in words: the rows of the list, and the most pressing one for the line that is always there."""

import math
import re
from collections.abc import Sequence
from textwrap import wrap

import msgspec
from msgspec.structs import replace

from collector.snapshot import CALLING, AlarmState, AlarmView, Snapshot, TroubleView
from tui.draw.calls import call_words, calls_of, calls_status
from tui.draw.clean import clean
from tui.draw.line import Line, Role, fit
from tui.draw.view import View
from tui.draw.words import PRIORITY_WORDS, STATE_WORDS, age, alarm_sentence, alarm_sentences, clock, measured

__all__ = [
    "AlarmRow",
    "alarm_lines",
    "alarm_rows",
    "calls_lines",
    "pressing",
    "pressing_line",
    "role_of",
    "told_once",
    "trouble_sentence",
    "trouble_sentences",
    "wanting",
]

AT_REST = (AlarmState.SHELVED, AlarmState.SUPPRESSED, AlarmState.OUT_OF_SERVICE)


def pressing(snapshot: Snapshot) -> list[AlarmView]:
    """List the alarms that want a person: not shelved, not suppressed; unacknowledged first."""
    standing = [a for a in snapshot.alarms if a.state not in AT_REST and a.state is not AlarmState.NORMAL]
    return sorted(standing, key=lambda a: (a.state is not AlarmState.UNACKNOWLEDGED, a.state not in CALLING))


def role_of(alarm: AlarmView | TroubleView) -> Role:
    """Choose how loud an alarm or a trouble looks."""
    if alarm.state is AlarmState.UNACKNOWLEDGED:
        return "alarm"
    if alarm.state in AT_REST:
        return "faint"
    return "warn"


def alarm_lines(alarm: AlarmView, now_unix: float, view: View, width: int) -> list[Line]:
    """Write an alarm as its sentence, in as many lines as it takes, then its state and age."""
    state = STATE_WORDS[alarm.state]
    if alarm.shelved_until_unix is not None:
        state += f" until {clock(alarm.shelved_until_unix, view)}"
    if alarm.removed_unix is not None:
        state += f" since {clock(alarm.removed_unix, view)}"
    return _lines(alarm, alarm_sentence(alarm, view), state, now_unix, view, width)


def _lines(
    shown: AlarmView | TroubleView, says: str, state: str, now_unix: float, view: View, width: int
) -> list[Line]:
    role = role_of(shown)
    sign = "!" if shown.state in CALLING else "-" if shown.state in AT_REST else "*"
    over = "" if shown.active else ", over"
    second = f"  {PRIORITY_WORDS[shown.priority]}, {state}"
    if shown.state is not AlarmState.OUT_OF_SERVICE and shown.since_unix:  # it may rest without ever having stood
        forms = (f"{second}{over}, {stands}" for stands in _stands(shown.since_unix, now_unix, view))
        second = next(
            (form for form in forms if len(form) <= width), f"{second}{over}, {age(now_unix - shown.since_unix)}"
        )
    sentence = wrap(f"{sign} {says}", max(8, width), subsequent_indent="  ")
    return [
        *(((text, role),) for text in sentence),
        ((fit(second, width, ascii_only=view.ascii_only).rstrip(), "plain" if role == "alarm" else "faint"),),
    ]


class AlarmRow(msgspec.Struct, frozen=True):
    """One row of the list of alarms: a trouble, one alarm of it, or an alarm by itself."""

    key: str
    """What acknowledge names."""
    named: str
    """What the row is about, in a few words."""
    state: AlarmState
    lines: list[Line]


def _stands(since_unix: float, now_unix: float, view: View) -> tuple[str, str]:
    """Say since when and for how long, the longer form first."""
    told = age(now_unix - since_unix)
    return f"since {clock(since_unix, view)}, {told}", told


def trouble_sentence(trouble: TroubleView, alarms: Sequence[AlarmView], view: View) -> str:
    """Say what is wrong, with the number of the leading alarm, and what to look at."""
    return trouble_sentences(trouble, alarms, view)[0]


def trouble_sentences(trouble: TroubleView, alarms: Sequence[AlarmView], view: View) -> tuple[str, ...]:
    """Say what is wrong, the longest sentence first; see `tui.draw.words.alarm_sentences`."""
    says = f"{trouble.title}; {trouble.what}" if trouble.what else trouble.title
    leading = next((a for a in alarms if a.key in trouble.alarms[:1]), None)
    if leading is None:
        return tuple(dict.fromkeys((says, trouble.title)))
    if len(trouble.alarms) == 1:
        return alarm_sentences(leading, view)
    return alarm_sentences(replace(leading, message=says), view)


def alarm_rows(snapshot: Snapshot, view: View, width: int, height: int) -> list[AlarmRow]:
    """Write the list: troubles first, each with its alarms below it while there is room for all of them.

    An alarm by itself is written as such. What is shelved or out of service comes last.
    """
    by_key = {a.key: a for a in snapshot.alarms}
    now = snapshot.now_unix
    rows: list[AlarmRow] = []
    below: dict[str, list[AlarmRow]] = {}
    calls = calls_of(snapshot)
    for trouble in snapshot.troubles:
        members = [by_key.pop(key) for key in trouble.alarms if key in by_key]
        told: list[Line] = []
        if trouble.key in calls:
            told = _told_lines(call_words(calls[trouble.key], view), width, "  ")
        if len(members) == 1:
            rows.append(_row(members[0], [*alarm_lines(members[0], now, view, width), *told]))
        elif members or not trouble.alarms:  # a test has none
            says = trouble_sentence(trouble, members, view)
            lines = _lines(trouble, says, STATE_WORDS[trouble.state], now, view, width)
            rows.append(AlarmRow(trouble.key, trouble.title, trouble.state, [*lines, *told]))
            below[trouble.key] = [_row(a, [_member_line(a, view, width)]) for a in members]
    rows += [_row(a, alarm_lines(a, now, view, width)) for a in by_key.values()]
    if sum(len(r.lines) for r in (*rows, *(m for group in below.values() for m in group))) > height:
        return rows
    return [shown for row in rows for shown in (row, *below.get(row.key, ()))]


def calls_lines(snapshot: Snapshot, view: View, width: int) -> list[Line]:
    """Write what holds for all calls; nothing where nobody is told of anything."""
    if snapshot.calls is None:
        return []
    return _told_lines(calls_status(snapshot.calls, snapshot.now_unix, view), width, "")


def _told_lines(said: Sequence[tuple[str, Role]], width: int, indent: str) -> list[Line]:
    return [
        ((text, role),) for words, role in said
        for text in wrap(clean(words, 400), max(8, width), initial_indent=indent, subsequent_indent="  ")
    ]  # fmt: skip


def _row(alarm: AlarmView, lines: list[Line]) -> AlarmRow:
    return AlarmRow(alarm.key, f"{alarm.rule} {alarm.subject}", alarm.state, lines)


def _member_line(alarm: AlarmView, view: View, width: int) -> Line:
    value = "" if math.isnan(alarm.value) else f" {measured(alarm.value, alarm.unit, view)}"
    said = f"    {alarm.rule} {alarm.subject}{value}, {STATE_WORDS[alarm.state]}{'' if alarm.active else ', over'}"
    return ((fit(said, width, ascii_only=view.ascii_only).rstrip(), "faint"),)


def wanting(snapshot: Snapshot) -> list[AlarmView | TroubleView]:
    """List what wants a person, the most pressing first: troubles, and alarms that belong to none."""
    grouped = {key for trouble in snapshot.troubles for key in trouble.alarms}
    found: list[AlarmView | TroubleView] = list(snapshot.troubles)
    found += [alarm for alarm in pressing(snapshot) if alarm.key not in grouped]
    return sorted(found, key=lambda f: (f.state is not AlarmState.UNACKNOWLEDGED, f.state not in CALLING))


def told_once(snapshot: Snapshot, view: View) -> list[tuple[AlarmView | TroubleView, str]]:
    """Say what stands in whole sentences, one a trouble; then the alarms that belong to none.

    A trouble of one alarm is told as that alarm.
    """
    by_key = {a.key: a for a in snapshot.alarms}
    told: list[tuple[AlarmView | TroubleView, str]] = []
    for trouble in snapshot.troubles:
        members = [by_key.pop(key) for key in trouble.alarms if key in by_key]
        if len(members) == 1:
            told.append((members[0], alarm_sentence(members[0], view)))
        else:
            several = f" ({len(members)} alarms)" if members else ""  # a test has none
            told.append((trouble, f"{trouble_sentence(trouble, members, view)}{several}"))
    return told + [(alarm, alarm_sentence(alarm, view)) for alarm in by_key.values()]


def pressing_line(snapshot: Snapshot, view: View, width: int, pit: str = "") -> Line:
    """Write the one line that is always on the screen: shorter in its words before it is cut in its numbers.

    Args:
        snapshot: whose alarms.
        view: how they are shown.
        width: cells there are.
        pit: named before them, where it is not the one on the screen.
    """
    wants = wanting(snapshot)
    of = f"{pit}: " if pit else ""
    if not wants:
        told = [
            f", {count} {STATE_WORDS[state]}" for state in (AlarmState.SHELVED, AlarmState.OUT_OF_SERVICE)
            if (count := sum(a.state is state for a in snapshot.alarms))
        ]  # fmt: skip
        return ((f" {of}no alarm{''.join(told)}", "faint"),)
    first = wants[0]
    sentences = (
        trouble_sentences(first, snapshot.alarms, view) if isinstance(first, TroubleView)
        else alarm_sentences(first, view)
    )  # fmt: skip
    more = f" +{len(wants) - 1} more" if len(wants) > 1 else ""
    stands = _stands(first.since_unix, snapshot.now_unix, view)
    states = [f"{STATE_WORDS[first.state]}, {since} {more}" for since in stands]
    brief = f"{SHORT_STATE_WORDS.get(first.state, STATE_WORDS[first.state])}, {stands[1]}{more}"
    whole = [says for says in sentences if not re.search(r" \+\d+$", says)]
    forms = [(says, state) for says in whole for state in states] + [(says, brief) for says in whole]
    forms += [(sentences[-1], state) for state in (*states, brief)]  # zones are left out last of all
    says, state = next(
        ((says, state) for says, state in forms if len(of) + len(says) + len(state) + 4 <= width), forms[-1]
    )
    room = width - len(state) - 3
    text = fit(f" {of}{says}", max(10, room), ascii_only=view.ascii_only)
    return (f"{text}  {state.rstrip()} ", role_of(first)), ("", "plain")


SHORT_STATE_WORDS = {
    AlarmState.UNACKNOWLEDGED: "NOT ACK", AlarmState.RETURNED: "over, NOT ACK",
    AlarmState.LATCHED_UNACKNOWLEDGED: "latched, NOT ACK", AlarmState.LATCHED: "wants a reset",
    AlarmState.ACKNOWLEDGED: "acknowledged",
}  # fmt: skip
"""What an alarm's state is called where the whole of it finds no room."""
