"""What all nights together say, as plain tables with the goals beside, and which goals are missed."""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from tests.bench.quality.judged import HERE, AlarmScore, MapScore
from tests.bench.quality.score import Outcome, Standing

__all__ = ["Goal", "Part", "alarm_parts", "as_text", "field_part"]

LATE_MINUTES = {"cold": 7.0, "cold-faulty": 12.0, "cold-lids": 12.0, "fading": 45.0}
MISSED_PERCENT = {"cold": 1.0, "cold-faulty": 2.0, "cold-lids": 1.0, "fading": 0.0}
FALSE_COLD = {"cold": 0.02, "cold-faulty": 0.05, "cold-lids": 0.05}
FALSE_DRIFT = 0.05
FOUND_PERCENT, ACCUSED = 95.0, 0.02
NINE_RMS, NINE_ZONE, COVERAGE = 2.5, 3.3, (93.0, 97.0)


@dataclass(frozen=True, slots=True)
class Goal:
    """One goal and what came of it."""

    what: str
    value: float
    least: float
    most: float
    cases: int = 0
    """Of a share of independent cases, how many there were; 0 for every other figure."""

    @property
    def met(self) -> bool:
        """Whether it is met; where nothing was measured it is neither."""
        return math.isnan(self.value) or self.least <= self.value <= self.most


@dataclass(frozen=True, slots=True)
class Part:
    """A table and its goals."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    goals: tuple[Goal, ...]


def as_text(parts: Iterable[Part]) -> str:
    """Lay the parts out in columns, goals below each."""
    out: list[str] = []
    for part in parts:
        lines = [part.head, *part.rows]
        widths = [max(len(line[k]) for line in lines) for k in range(len(part.head))]
        laid = ["  ".join(cell.ljust(w) for cell, w in zip(line, widths, strict=True)).rstrip() for line in lines]
        out += [part.title, laid[0], "-" * max(map(len, laid)), *laid[1:]]
        out += [f"  {'met   ' if goal.met else 'MISSED'}  {_said(goal)}" for goal in part.goals]
        out.append("")
    return "\n".join(out)


def _said(goal: Goal) -> str:
    if goal.least == -math.inf:
        wanted = f"<= {goal.most:g}"
    elif goal.most == math.inf:
        wanted = f">= {goal.least:g}"
    else:
        wanted = f"{goal.least:g} to {goal.most:g}"
    return f"{goal.what}: {_number(goal.value, 2)} (goal {wanted})"


def _number(value: float, digits: int = 1) -> str:
    return "-" if math.isnan(value) else f"{value:.{digits}f}"


def _percent(part: int, whole: int) -> float:
    return 100.0 * part / whole if whole else math.nan


def _minutes(outcomes: Sequence[Outcome], share: float) -> float:
    delays = [outcome.delay for outcome in outcomes if outcome.delay is not None]
    return float(np.quantile(delays, share)) / 60.0 if delays else math.nan


def _missed(outcomes: Sequence[Outcome]) -> int:
    return sum(outcome.delay is None for outcome in outcomes)


def _told(outcomes: Sequence[Outcome]) -> tuple[str, ...]:
    """Give the cells of how many, told, missed, median and 95th percentile of the delay."""
    count, missed = len(outcomes), _missed(outcomes)
    return (
        str(count), _number(_percent(count - missed, count)), _number(_percent(missed, count)),
        _number(_minutes(outcomes, 0.5)), _number(_minutes(outcomes, 0.95)),
    )  # fmt: skip


def _most(what: str, value: float, most: float, cases: int = 0) -> Goal:
    return Goal(what, value, -math.inf, most, cases)


def _by_kind(scores: Sequence[AlarmScore]) -> dict[str, list[AlarmScore]]:
    kinds: dict[str, list[AlarmScore]] = {}
    for score in scores:
        kinds.setdefault(score.kind, []).append(score)
    return kinds


def alarm_parts(scores: Sequence[AlarmScore]) -> list[Part]:
    """Make the tables of cold spots, drifts, lying probes and alarm rates."""
    return [_cold(scores), _drift(scores), _lying(scores), _faults(scores), _rates(scores)]


_TOLD_HEAD = ("told %", "missed %", "median min", "p95 min")


def _watch_rows(
    scores: Sequence[AlarmScore],
    due: Callable[[AlarmScore, str], Sequence[Outcome]],
    false: Callable[[AlarmScore, str], Sequence[Standing]],
) -> tuple[tuple[str, ...], ...]:
    rows = []
    for way in (HERE, "fixed"):
        for kind, nights in [*_by_kind(scores).items(), ("all", list(scores))]:
            outcomes = [outcome for score in nights for outcome in due(score, way)]
            near = sum(outcome.by_neighbour is not None for outcome in outcomes)
            count = sum(len(false(score, way)) for score in nights)
            per_night = _number(count / len(nights), 3)
            rows.append((way, kind, str(len(nights)), *_told(outcomes), str(near), str(count), per_night))
    return tuple(rows)


def _cold(scores: Sequence[AlarmScore]) -> Part:
    goals = []
    for kind, nights in _by_kind(scores).items():
        outcomes = [outcome for score in nights for outcome in score.watch[HERE].cold]
        if kind in LATE_MINUTES and kind in FALSE_COLD:
            goals.append(_most(f"{kind}: median delay, min", _minutes(outcomes, 0.5), LATE_MINUTES[kind]))
            missed = _percent(_missed(outcomes), len(outcomes))
            goals.append(_most(f"{kind}: missed, %", missed, MISSED_PERCENT[kind], len(outcomes)))
            false = sum(len(score.watch[HERE].false_cold) for score in nights) / len(nights)
            goals.append(_most(f"{kind}: false a night", false, FALSE_COLD[kind]))
    return Part(
        "Cold spots (fixed: plain means, 8.3 K for 5 min)",
        ("way", "kind", "nights", "spots", *_TOLD_HEAD, "by neighbour", "false", "false/night"),
        _watch_rows(scores, lambda s, way: s.watch[way].cold, lambda s, way: s.watch[way].false_cold),
        tuple(goals),
    )


def _drift(scores: Sequence[AlarmScore]) -> Part:
    goals = []
    for kind, nights in _by_kind(scores).items():
        outcomes = [outcome for score in nights for outcome in score.watch[HERE].drift]
        if kind == "fading":
            goals.append(_most(f"{kind}: median delay, min", _minutes(outcomes, 0.5), LATE_MINUTES[kind]))
            missed = _percent(_missed(outcomes), len(outcomes))
            goals.append(_most(f"{kind}: missed, %", missed, MISSED_PERCENT[kind], len(outcomes)))
        false = sum(len(score.watch[HERE].false_drift) for score in nights) / len(nights)
        goals.append(_most(f"{kind}: false a night", false, FALSE_DRIFT))
    return Part(
        "Drift (from its cause; fixed: half-hour mean 8 K off for 10 min)",
        ("way", "kind", "nights", "fires", *_TOLD_HEAD, "by neighbour", "false", "false/night"),
        _watch_rows(scores, lambda s, way: s.watch[way].drift, lambda s, way: s.watch[way].false_drift),
        tuple(goals),
    )


def _lying(scores: Sequence[AlarmScore]) -> Part:
    rows = []
    for kind, nights in [*_by_kind(scores).items(), ("all", list(scores))]:
        outcomes = [outcome for score in nights for outcome in score.faults]
        accused = sum(len(score.accused) for score in nights)
        unexplained = sum(score.unexplained for score in nights)
        each = _number(accused / len(nights), 3)
        rows.append((kind, str(len(nights)), *_told(outcomes), str(accused), each, str(unexplained)))
    outcomes = [outcome for score in scores for outcome in score.faults]
    found = _percent(len(outcomes) - _missed(outcomes), len(outcomes))
    accused_each = sum(len(score.accused) for score in scores) / len(scores) if scores else math.nan
    goals = (
        Goal("faults found within 20 min, %", found, FOUND_PERCENT, math.inf, len(outcomes)),
        _most("good probes accused a night", accused_each, ACCUSED),
        _most("left out without a word, min", float(sum(score.unexplained for score in scores)), 0.0),
    )
    head = ("kind", "nights", "faults", *_TOLD_HEAD, "accused", "accused/night", "unexplained min")
    return Part("Lying probes", head, tuple(rows), goals)


def _faults(scores: Sequence[AlarmScore]) -> Part:
    """Split the faults by their kind."""
    kinds: dict[str, list[Outcome]] = {}
    for score in scores:
        for outcome in score.faults:
            kinds.setdefault(outcome.what.split()[0], []).append(outcome)
    rows = tuple((kind, *_told(outcomes)) for kind, outcomes in sorted(kinds.items()))
    return Part("Lying probes by fault", ("fault", "faults", *_TOLD_HEAD), rows, ())


def _rates(scores: Sequence[AlarmScore]) -> Part:
    rows = []
    for kind, nights in [*_by_kind(scores).items(), ("all", list(scores))]:
        hours = sum(score.rates.hours for score in nights)
        alarms = sum(score.rates.alarms for score in nights)
        flood = float(np.mean([100.0 * score.rates.flood_share for score in nights])) if nights else math.nan
        rows.append((
            kind, _number(alarms / hours if hours else math.nan, 3),
            str(max((score.rates.most_in_ten_minutes for score in nights), default=0)),
            _number(flood, 2), str(sum(score.rates.chattering for score in nights)),
        ))  # fmt: skip
    return Part(
        "Alarm rates (flood: more than 10 in 10 min; chattering: one raised 3 times or more in 10 min)",
        ("kind", "alarms/hour", "most in 10 min", "in flood %", "chattering"), tuple(rows), (),
    )  # fmt: skip


def _mean(values: Iterable[float]) -> float:
    known = list(values)
    return float(np.mean(known)) if known else math.nan


def field_part(scores: Sequence[MapScore]) -> Part:
    """Make the table of maps: RMS over all cells of all maps, and so on."""
    groups: dict[tuple[int, str, str], list[MapScore]] = {}
    for score in scores:
        for kind in (score.kind, "all"):
            groups.setdefault((score.probes, kind, score.way), []).append(score)
    rows, goals = [], []
    for (probes, kind, way), maps in sorted(groups.items()):
        rms = math.sqrt(_mean(value for score in maps for value in score.square))
        zones = [value for score in maps for value in score.worst_zone]
        zone = float(np.quantile(zones, 0.95)) if zones else math.nan
        out = math.sqrt(_mean(value for score in maps for value in score.left_out_square))
        covered = 100.0 * _mean(value for score in maps for value in score.covered)
        width = _mean(value for score in maps for value in score.width)
        rows.append((
            str(probes), kind, way, str(len(maps)), _number(rms, 2), _number(out, 2), _number(zone, 2),
            _number(covered), _number(width, 2),
        ))  # fmt: skip
        if probes == 9 and kind == "all" and way == HERE:
            goals = [
                _most("9 probes: RMS, K", rms, NINE_RMS), _most("9 probes: worst zone p95, K", zone, NINE_ZONE),
                Goal("9 probes: within the 95 % interval, %", covered, *COVERAGE),
            ]  # fmt: skip
    return Part(
        "Maps against the true grid",
        ("probes", "kind", "way", "nights", "RMS K", "left-out RMS K", "worst zone p95 K", "in 95 % %", "width K"),
        tuple(rows), tuple(goals),
    )  # fmt: skip
