"""The quality bench: `python -m tests.bench.quality`. Exit code 1 when a goal is missed or a night fails.

Drawn nights are simulated once (kept under the temporary folder) and played through the engine each time. A night
that fails does not take the others' figures with it; its traceback goes to standard error.
"""

import argparse
import os
import sys
import time
import traceback
from collections.abc import Callable, Sequence
from dataclasses import asdict
from multiprocessing import Pool
from pathlib import Path

import msgspec

os.environ["OPENBLAS_NUM_THREADS"] = "1"  # before numpy: each night has a process of its own

REPORT_SEEDS, TUNING_SEEDS = 50_000, 1_000
FIELD_PROBES = (6, 9, 12, 16)
FIELD_KINDS = ("quiet", "cold")
FIELD_SHARE = 3
"""A map scores every five minutes of a night, so a third of the nights says as much."""

Task = tuple[str, int, tuple[int, ...]]
"""Kind, seed, and with how many grate probes; empty where alarms are judged."""


def judge(task: Task) -> tuple[Task, object | None, str]:
    """Judge one night in a process of its own; a traceback instead where it fails."""
    from tests.bench.quality.judged import judge_alarms, judge_maps

    kind, seed, probes = task
    try:
        if not probes:
            return task, judge_alarms(kind, seed), ""
        return task, [score for count in probes for score in judge_maps(kind, seed, count)], ""
    except Exception:
        return task, None, traceback.format_exc()


def run(tasks: Sequence[Task], jobs: int, tell: Callable[[str], None]) -> tuple[list[object], int]:
    """Judge all nights; give what came of them in their order, and how many failed."""
    found: dict[Task, object] = {}
    failed, began = 0, time.monotonic()
    with Pool(jobs, maxtasksperchild=50) as pool:
        for done, (task, result, fault) in enumerate(pool.imap_unordered(judge, tasks), start=1):
            if result is None:
                failed += 1
                tell(f"\n{task} failed:\n{fault}")
            else:
                found[task] = result
            tell(f"\r{done}/{len(tasks)} nights, {time.monotonic() - began:.0f} s ")
    tell("\n")
    return [found[task] for task in tasks if task in found], failed


def show(what: str) -> str:
    """List what was true of one night and what was told."""
    from adapters.rehearsal.drawn import NightKind
    from tests.bench.quality.judged import score_alarms
    from tests.bench.quality.play import play
    from tests.bench.quality.recorded import recorded
    from tests.bench.quality.show import listed
    from tests.bench.quality.truth import truth_of

    kind, _, seed = what.partition(":")
    night = recorded(NightKind(kind), int(seed))
    truth, played = truth_of(night), play(night, with_maps=False)
    return listed(night, truth, played, score_alarms(kind, int(seed), night, truth, played))


def judge_meat(task: tuple[str, int, bool]) -> list[object]:
    """Judge the arrivals of one family of meat in a process of its own."""
    from tests.bench.quality.meat.judge import judge_family

    family, count, tuning = task
    return list(judge_family(family, count, tuning=tuning))


def meat(pieces: int, jobs: int, *, tuning: bool, as_json: bool) -> int:
    """Print the table of arrivals; 1 when a goal is missed."""

    from tests.bench.quality.meat.judge import MeatScore
    from tests.bench.quality.meat.pieces import FAMILIES
    from tests.bench.quality.meat.show import meat_part
    from tests.bench.quality.table import as_text

    with Pool(jobs) as pool:
        found = pool.map(judge_meat, [(family, pieces, tuning) for family in FAMILIES], chunksize=1)
    scores = [score for scores in found for score in scores if isinstance(score, MeatScore)]
    part = meat_part(scores)
    if as_json:
        print(msgspec.json.encode({"schema": 1, "parts": [asdict(part)], "meat": [asdict(s) for s in scores]}).decode())
    else:
        print(as_text([part]))
    return int(any(not goal.met for goal in part.goals))


def pairs(count: int, jobs: int, *, tuning: bool, as_json: bool) -> int:
    """Print the table of cooks before and after a change; 1 when a goal is missed."""

    from tests.bench.quality.pairs.judge import FAMILIES, judge_seed
    from tests.bench.quality.pairs.pits import PITS, prepare
    from tests.bench.quality.pairs.show import pairs_part
    from tests.bench.quality.table import as_text

    first = TUNING_SEEDS if tuning else REPORT_SEEDS
    with Pool(jobs) as pool:
        pool.map(prepare, range(PITS), chunksize=1)
        tasks = [(family, first + k) for family in FAMILIES for k in range(count)]
        scores = [score for found in pool.map(judge_seed, tasks, chunksize=4) for score in found]
    part = pairs_part(scores)
    if as_json:
        document = {"schema": 1, "parts": [asdict(part)], "pairs": [asdict(s) for s in scores]}
        print(msgspec.json.encode(document).decode())
    else:
        print(as_text([part]))
    return int(any(not goal.met for goal in part.goals))


def judge_fixed(task: tuple[str, str, int]) -> tuple[tuple[str, str, int], list[object] | None, str]:
    """Judge one of the fixed tasks in a process of its own; a traceback instead where it fails."""
    from tests.bench.quality.fixed import judge as judge_one

    try:
        return task, list(judge_one(task)), ""
    except Exception:
        return task, None, traceback.format_exc()


def fixed(jobs: int, *, propose: bool) -> int:
    """Judge the fixed list and hold every figure against its floor, or print the floors these figures would set."""
    from tests.bench.quality.fixed import parts_of, tasks
    from tests.bench.quality.floors import FILE, as_toml, compare, figures, load, proposed
    from tests.bench.quality.table import as_text

    floors = {} if propose else load(FILE.read_text(encoding="utf-8"))
    began = time.monotonic()
    with Pool(jobs) as pool:
        found = pool.map(judge_fixed, tasks(), chunksize=1)
    for task, scores, fault in found:
        if scores is None:
            print(f"{task} failed:\n{fault}", file=sys.stderr)
    judged = [(task, scores) for task, scores, _ in found if scores is not None]
    print(as_text(parts_of([score for _, scores in judged for score in scores])), file=sys.stderr)
    if propose:
        print(as_toml(proposed(judged)))
        return int(len(judged) < len(found))
    lines, good = compare(floors, figures(judged))
    print(*lines, sep="\n")
    print(f"{sum(line.startswith('holds') for line in lines)} of {len(lines)} floors hold; "
          f"{time.monotonic() - began:.0f} s")  # fmt: skip
    return int(not good or len(judged) < len(found))


def score_sources(options: argparse.Namespace, parser: argparse.ArgumentParser) -> int:
    """Score nights of a folder and of generators, each source apart, or draw one of them."""
    from tests.bench.quality.nights.commands import draw_picture, generated_tasks, given_tasks, parse_seeds, score_tasks

    if options.picture:
        try:
            draw_picture(options.picture, options.nights, options.generator, options.out)
        except (FileNotFoundError, ValueError) as error:
            parser.error(str(error))
        return 0
    kinds = options.kinds.split(",") if options.kinds else []
    tasks, only = [], options.references_only
    try:
        if options.nights:
            tasks += given_tasks(options.nights, parse_seeds(options.seeds), kinds, references_only=only)
        if options.generator:
            each = None if options.full else options.nights_each or 2
            tasks += generated_tasks(options.generator, each, kinds, references_only=only)
    except ValueError as error:
        parser.error(str(error))
    return score_tasks(tasks, options.jobs, options.left_out, with_misses=options.misses)


def main() -> int:
    """Judge the nights asked for and print the tables."""

    from adapters.rehearsal.drawn import NightKind
    from tests.bench.quality.judged import AlarmScore
    from tests.bench.quality.table import alarm_parts, as_text, field_part

    every = [kind.value for kind in NightKind]
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.quality", description="Judge alarms, maps and arrivals."
    )
    parser.add_argument(
        "--nights-each", type=int, metavar="N", help="nights of each kind (default 24; of a generator 2)"
    )
    parser.add_argument("--nights", type=Path, metavar="DIR", help="score the nights of a folder, with references")
    parser.add_argument("--generator", metavar="A,B", help="score nights of our own generators; `all` for every one")
    parser.add_argument("--full", action="store_true", help="with --generator: as many nights as the goals need")
    parser.add_argument("--left-out", default="", metavar="NAME", help="mark the source that the tuning did not see")
    parser.add_argument("--misses", action="store_true", help="list every miss and false alarm of these nights first")
    parser.add_argument("--picture", metavar="KIND/NUMBER", help="draw one night of --nights or --generator as SVG")
    parser.add_argument("--out", type=Path, default=Path("night.svg"), metavar="FILE", help="with --picture")
    parser.add_argument("--references-only", action="store_true", help="play nothing: how hard are these nights?")
    parser.add_argument("--seeds", default="", metavar="A-B", help="with --nights: only nights of these numbers")
    parser.add_argument("--tuning", action="store_true", help=f"seeds from {TUNING_SEEDS}, not {REPORT_SEEDS}")
    parser.add_argument("--kinds", metavar="A,B", default="", help="only these of " + ",".join(every))
    parser.add_argument("--jobs", type=int, default=2, metavar="N")
    parser.add_argument("--json", action="store_true", help="print one JSON document")
    parser.add_argument("--field", action="store_true", help="only the maps")
    parser.add_argument("--alarms", action="store_true", help="only the alarms")
    parser.add_argument("--meat", action="store_true", help="only the arrivals of meat")
    parser.add_argument("--pieces", type=int, default=120, metavar="N", help="of each family of meat (default 120)")
    parser.add_argument("--pairs", action="store_true", help="only comparisons of cooks before and after a change")
    parser.add_argument("--count", type=int, default=60, metavar="N", help="pairs of a family and size (default 60)")
    parser.add_argument("--ci", action="store_true", help="a fixed list in two minutes, each figure against its floor")
    parser.add_argument("--floors", action="store_true", help="the fixed list, and the floors it would set, as TOML")
    parser.add_argument("--draw", action="store_true", help="draw the nights of the fixed list again and keep them")
    parser.add_argument("--show", metavar="KIND:SEED", help="list one night's truth and alarms")
    options = parser.parse_args()
    if options.show:
        print(show(options.show))
        return 0
    if options.draw:
        from tests.bench.quality.fixed import draw

        draw()
        return 0
    if options.nights or options.generator:
        return score_sources(options, parser)
    if options.ci or options.floors:
        return fixed(options.jobs, propose=options.floors)
    if options.meat:
        return meat(options.pieces, options.jobs, tuning=options.tuning, as_json=options.json)
    if options.pairs:
        return pairs(options.count, options.jobs, tuning=options.tuning, as_json=options.json)
    kinds = options.kinds.split(",") if options.kinds else every
    if unknown := sorted(set(kinds) - set(every)):
        parser.error(f"no kind {unknown[0]}; there are {', '.join(every)}")
    each = options.nights_each or 24
    first = TUNING_SEEDS if options.tuning else REPORT_SEEDS
    tasks: list[Task] = []
    if not options.field or options.alarms:
        tasks += [(kind, first + k, ()) for kind in kinds for k in range(each)]
    if not options.alarms or options.field:
        count = max(1, each // FIELD_SHARE)
        drawn = [kind for kind in FIELD_KINDS if kind in kinds]
        tasks += [(kind, first + k, FIELD_PROBES) for kind in drawn for k in range(count)]
    found, failed = run(tasks, options.jobs, lambda text: print(text, end="", file=sys.stderr, flush=True))
    nights = [score for score in found if isinstance(score, AlarmScore)]
    maps = [score for scores in found if isinstance(scores, list) for score in scores]
    parts = [*(alarm_parts(nights) if nights else []), *([field_part(maps)] if maps else [])]
    if options.json:
        document = {"schema": 1, "parts": [asdict(part) for part in parts], "nights": [asdict(n) for n in nights]}
        print(msgspec.json.encode(document).decode())
    else:
        print(as_text(parts))
    return int(failed > 0 or any(not goal.met for part in parts for goal in part.goals))


if __name__ == "__main__":
    sys.exit(main())
