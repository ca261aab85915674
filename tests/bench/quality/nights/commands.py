"""The bench's commands on nights: those of a folder, and those of our own generators."""

import sys
import time
import traceback
from collections.abc import Sequence
from dataclasses import dataclass
from multiprocessing import Pool
from pathlib import Path

from tests.bench.quality.nights.figures import NightScore
from tests.bench.quality.nights.night_files import find_nights
from tests.bench.quality.nights.night_tables import load_table, night_tables

__all__ = ["Task", "draw_picture", "generated_tasks", "given_tasks", "parse_seeds", "score_all", "score_tasks"]


def parse_seeds(text: str) -> tuple[int, ...]:
    """Read `100`, `100-102` or `3,5,7` as numbers of nights; nothing where empty.

    Raises:
        ValueError: it is none of these.
    """
    numbers: list[int] = []
    for part in filter(None, text.split(",")):
        first, _, last = part.partition("-")
        numbers += range(int(first), int(last or first) + 1)
    return tuple(numbers)


@dataclass(frozen=True, slots=True)
class Task:
    """One night to score: in a folder, or of a generator."""

    source: str
    folder: Path | None = None
    generated: tuple[str, str, str] | None = None
    """Generator, kind and number."""
    references_only: bool = False


def _score(task: Task) -> tuple[Task, NightScore | None, str]:
    from tests.bench.quality.nights.scored import score_folder
    from tests.bench.quality.pits.building import build_night

    try:
        folder = task.folder or build_night(*(task.generated or ("", "", "")))
        return task, score_folder(folder, references_only=task.references_only), ""
    except Exception:
        return task, None, traceback.format_exc()


def score_all(tasks: Sequence[Task], jobs: int) -> tuple[dict[str, list[NightScore]], int]:
    """Score the nights of all sources; give the scores of each source, and how many nights failed."""
    found: dict[str, list[NightScore]] = {task.source: [] for task in tasks}
    failed, began = 0, time.monotonic()
    with Pool(jobs, maxtasksperchild=50) as pool:
        for done, (task, score, fault) in enumerate(pool.imap_unordered(_score, tasks), start=1):
            if score is None:
                failed += 1
                print(f"\n{task} failed:\n{fault}", file=sys.stderr)
            else:
                found[task.source].append(score)
            print(
                f"\r{done}/{len(tasks)} nights, {time.monotonic() - began:.0f} s ", end="", file=sys.stderr, flush=True
            )
    print(file=sys.stderr)
    for scores in found.values():
        scores.sort(key=lambda score: score.name)
        _compare_pairs(scores)
    return {source: scores for source, scores in found.items() if scores}, failed


def _compare_pairs(scores: list[NightScore]) -> None:
    """Add to each night after a change what came of its comparison with the one before."""
    from tests.bench.quality.nights.comparing import score_pair

    by_name = {score.name: score for score in scores}
    for score in scores:
        before = by_name.get(score.name[:-1] + "A") if score.name.endswith("B") else None
        if before is not None and score.coldside:
            change = score.far_deficit - before.far_deficit
            score.coldside.update(score_pair(before.cook, score.cook, change))


def print_tables(found: dict[str, list[NightScore]], left_out: str = "") -> None:
    """Print every table and what the plays cost."""
    print(night_tables(found, left_out))
    print(load_table(found))
    for source, scores in found.items():
        cpu = sum(score.cpu_seconds for score in scores)
        print(
            f"{source}: {len(scores)} nights, {cpu:.0f} s of processor time to play, {cpu / len(scores):.1f} s a night"
        )


def given_tasks(folder: Path, seeds: Sequence[int], kinds: Sequence[str], *, references_only: bool) -> list[Task]:
    """List the nights of a folder; where it is absent or holds no such night, say so and list none."""
    if not folder.is_dir():
        print(f"skipped: there is no folder {folder}", file=sys.stderr)
        return []
    tasks = [Task("given", path, None, references_only) for path in find_nights(folder, kinds, seeds)]
    if not tasks:
        print(f"skipped: {folder} holds no such night", file=sys.stderr)
    return tasks


def generated_tasks(names: str, each: int | None, kinds: Sequence[str], *, references_only: bool) -> list[Task]:
    """List the nights of generators.

    Args:
        names: of the generators, with commas, or `all`.
        each: nights of each kind; None: a full run.
        kinds: only these; all where empty.
        references_only: play none through coldside.

    Raises:
        ValueError: there is no such generator or kind.
    """
    from tests.bench.quality.pits.building import GENERATORS, night_tasks

    chosen = [name for part in names.split(",") for name in (GENERATORS if part == "all" else (part,))]
    return [Task(name, None, night, references_only) for name in chosen for night in night_tasks(name, each, kinds)]


def score_tasks(tasks: Sequence[Task], jobs: int, left_out: str, *, with_misses: bool = False) -> int:
    """Score nights and print the tables, and each miss where asked; 1 when a night failed."""
    if not tasks:
        return 0
    found, failed = score_all(tasks, jobs)
    if with_misses:
        for source, scores in found.items():
            print(*(f"{source}: {line}" for score in scores for line in score.wrong), sep="\n")
    print_tables(found, left_out)
    return int(failed > 0)


def draw_picture(what: str, folder: Path | None, generator: str | None, out: Path) -> None:
    """Draw one night as SVG.

    Args:
        what: KIND/NUMBER.
        folder: where the nights are, or None for a generator's.
        generator: its name.
        out: the file.

    Raises:
        FileNotFoundError: there is no such night in the folder.
        ValueError: `what` is no KIND/NUMBER, or there is no such generator or kind.
    """
    from tests.bench.quality.nights.night_files import read_night
    from tests.bench.quality.nights.pictures import draw_night
    from tests.bench.quality.nights.scored import play_kept
    from tests.bench.quality.pits.building import build_night, night_tasks

    kind, _, number = what.partition("/")
    if not kind or not number:
        raise ValueError(f"--picture takes KIND/NUMBER, such as quiet/000, not {what}")
    if folder is None:
        night_tasks(generator or "", 1, [kind])
        path = build_night(generator or "", kind, number)
    else:
        path = folder / kind / number
    night = read_night(path)
    draw_night(night, play_kept(night), out)
    print(out)
