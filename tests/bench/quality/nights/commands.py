"""The bench's commands on nights: those of a folder, and those of our own generators."""

import sys
import time
import traceback
from collections.abc import Sequence
from multiprocessing import Pool
from pathlib import Path

from tests.bench.quality.nights.figures import NightScore
from tests.bench.quality.nights.night_files import find_nights
from tests.bench.quality.nights.night_tables import load_table, night_tables

__all__ = ["parse_seeds", "score_nights"]


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


def _score(task: tuple[str, Path]) -> tuple[str, Path, NightScore | None, str]:
    from tests.bench.quality.nights.scored import score_folder

    source, folder = task
    try:
        return source, folder, score_folder(folder), ""
    except Exception:
        return source, folder, None, traceback.format_exc()


def score_all(tasks: Sequence[tuple[str, Path]], jobs: int) -> tuple[dict[str, list[NightScore]], int]:
    """Score the nights of all sources; give the scores of each source, and how many nights failed."""
    found: dict[str, list[NightScore]] = {source: [] for source, _ in tasks}
    failed, began = 0, time.monotonic()
    with Pool(jobs, maxtasksperchild=50) as pool:
        for done, (source, folder, score, fault) in enumerate(pool.imap_unordered(_score, tasks), start=1):
            if score is None:
                failed += 1
                print(f"\n{folder} failed:\n{fault}", file=sys.stderr)
            else:
                found[source].append(score)
            print(
                f"\r{done}/{len(tasks)} nights, {time.monotonic() - began:.0f} s ", end="", file=sys.stderr, flush=True
            )
    print(file=sys.stderr)
    for scores in found.values():
        scores.sort(key=lambda score: score.name)
    return {source: scores for source, scores in found.items() if scores}, failed


def print_tables(found: dict[str, list[NightScore]], left_out: str = "") -> None:
    """Print every table and what the plays cost."""
    print(night_tables(found, left_out))
    print(load_table(found))
    for source, scores in found.items():
        cpu = sum(score.cpu_seconds for score in scores)
        print(
            f"{source}: {len(scores)} nights, {cpu:.0f} s of processor time to play, {cpu / len(scores):.1f} s a night"
        )


def score_nights(folder: Path, seeds: Sequence[int], kinds: Sequence[str], jobs: int) -> int:
    """Score the nights of a folder; 1 when a night failed. Where the folder is absent it says so and passes."""
    if not folder.is_dir():
        print(f"skipped: there is no folder {folder}")
        return 0
    tasks = [("given", path) for path in find_nights(folder, kinds, seeds)]
    if not tasks:
        print(f"skipped: {folder} holds no such night")
        return 0
    found, failed = score_all(tasks, jobs)
    print_tables(found)
    return int(failed > 0)
