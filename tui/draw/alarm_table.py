"""Every rule and subject as a table, and the measures of a cook's alarms, in plain lines."""

import math
from collections.abc import Sequence

from collector.model.alarm_measures import FLOOD_ALARMS, STALE_SECONDS, USUAL_SHARES, Measures
from collector.model.meat.alarms import OWN_LIMITS
from collector.snapshot import Priority, RuleView
from tui.draw.view import View
from tui.draw.words import NOTHING, PRIORITY_WORDS, STATE_WORDS, age, clock, measured, number, temperature

__all__ = ["measure_lines", "rule_lines"]

HEAD = ("alarm", "priority", "state", "now", "limit", "left", "delay on, off")


def rule_lines(rules: Sequence[RuleView], now_unix: float, view: View) -> list[str]:
    """Write one line a rule and subject; what it is held up by is said below it."""
    cells = [HEAD, *(_cells(rule, view) for rule in rules)]
    widths = [max(len(row[k]) for row in cells) for k in range(len(HEAD))]
    lines = []
    for row, rule in zip(cells, (None, *rules), strict=True):
        lines.append("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())
        lines += [f"    {note}" for note in (_notes(rule, now_unix, view) if rule else [])]
    return lines


def _cells(rule: RuleView, view: View) -> tuple[str, ...]:
    judged_by_limit = rule.limit > 0
    room = measured(abs(rule.distance), rule.unit, view) if math.isfinite(rule.distance) and judged_by_limit else ""
    return (
        rule.key,
        PRIORITY_WORDS[rule.priority],
        STATE_WORDS[rule.state] if rule.enabled else "switched off",
        measured(rule.value, rule.unit, view) if math.isfinite(rule.value) else NOTHING,
        measured(rule.limit, rule.unit, view) if judged_by_limit else _own(rule, view),
        f"{room}{' beyond' if rule.distance < 0 else ''}" if room else NOTHING,
        f"{rule.on_delay_seconds:g} s, {rule.off_delay_seconds:g} s",
    )


def _own(rule: RuleView, view: View) -> str:
    """Say by which temperatures a piece of meat is judged; each of its parts may have another."""
    if rule.rule not in OWN_LIMITS:
        return NOTHING
    told = [celsius for celsius in rule.own_celsius if math.isfinite(celsius)]
    if not told:
        return "each part's own"
    return ", ".join([*(number(celsius, view) for celsius in told[:-1]), temperature(told[-1], view)])


def _notes(rule: RuleView, now_unix: float, view: View) -> list[str]:
    """Say what holds an alarm back, and what is on its way."""
    notes = []
    if not rule.enabled:
        notes.append(f"out of service: switched off in the config; enabled = true in [alarm.{rule.rule}] puts it back")
    if rule.removed_unix is not None:
        notes.append(f"out of service since {clock(rule.removed_unix, view)}, by hand; `restore` puts it back")
    if rule.suppressed:
        notes.append(f"suppressed by design: {'; '.join(rule.suppressed)}")
    if rule.shelved_until_unix is not None:
        notes.append(f"shelved until {clock(rule.shelved_until_unix, view)}")
    if rule.pending_unix is not None:
        left = rule.on_delay_seconds - (now_unix - rule.pending_unix)
        notes.append(f"beyond its limit since {clock(rule.pending_unix, view)}; an alarm in {age(left)} if it stays")
    if rule.since_unix is not None:
        notes.append(f"stands since {clock(rule.since_unix, view)}")
    return notes


def measure_lines(found: Measures) -> list[str]:
    """Write the measures of a cook, each beside what is usual."""
    shares = ", ".join(_share(found, priority, usual) for priority, usual in USUAL_SHARES.items())
    waited = (
        "none" if not found.acknowledged else
        f"{found.acknowledged}, after {age(found.acknowledge_median_seconds)} in the middle, "
        f"{age(found.acknowledge_p95_seconds)} for 95 of 100"
    )  # fmt: skip
    lines = [
        f"alarms        {found.alarms} in {found.hours:.1f} h: {found.per_hour:.1f} an hour (6 is acceptable), "
        f"{found.per_day:.0f} a day (150)",
        f"at once       {found.most_in_ten_minutes} in ten minutes at most ({FLOOD_ALARMS}); more than {FLOOD_ALARMS} "
        f"in {found.flood_share:.1%} of the time (1 %)",
        f"chattering    {', '.join(found.chattering) or 'none'} (3 times in a minute; none is acceptable)",
        f"stale         {', '.join(found.stale) or 'none'} (more than {STALE_SECONDS / 3600:.0f} h)",
        f"priorities    {shares}",
        f"acknowledged  {waited}; {found.never_acknowledged} still wait",
        f"held back     suppressed by design {age(found.suppressed_seconds)}, shelved {age(found.shelved_seconds)}, "
        f"out of service {age(found.removed_seconds)}, all alarms together",
    ]
    if found.longest_key:
        lines.insert(4, f"longest       {found.longest_key}, {age(found.longest_seconds)}")
    lines += [f"often         {key}: {times} times" for key, times in found.frequent if times > 1]
    return lines


def _share(found: Measures, priority: Priority, usual: float) -> str:
    count = found.priorities[priority.name.lower()]
    return f"{count} {PRIORITY_WORDS[priority]} ({count / max(1, found.alarms):.0%}, usual {usual:.0%})"
