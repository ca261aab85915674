"""Fuzz coldside: `python -m tests.fuzz --minutes 10`. Exit code 1 on any failure.

Seeds that failed before are played first. `--play night-12345` plays one seed alone, with its traceback.
"""

import argparse
import os
import random
import sys
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: more threads than cores stall small solves

from tests.fuzz.failures import ROOT
from tests.fuzz.runs import Result, Run, run
from tests.fuzz.seeds import FOLDER
from tests.fuzz.targets import WEIGHTS, played


def main(arguments: list[str] | None = None) -> int:
    """Run it and say what was found."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--jobs", type=int, default=2, help="processes")
    parser.add_argument("--target", choices=WEIGHTS, default="", help="fuzz this alone (default: all, nights most)")
    parser.add_argument("--seed", type=int, help="from which the seeds are drawn (default: a new one each run)")
    parser.add_argument("--play", metavar="TARGET-SEED", help="play this seed alone")
    parser.add_argument("--seeds", type=Path, default=FOLDER, help="folder of the kept seeds")
    chosen = parser.parse_args(arguments)
    if chosen.play:
        return _play(chosen.play)
    seed = random.SystemRandom().randrange(10**9) if chosen.seed is None else chosen.seed
    print(f"fuzz: --seed {seed}, {chosen.minutes:g} min, {chosen.jobs} processes", flush=True)
    result = run(Run(60.0 * chosen.minutes, chosen.jobs, chosen.target, seed, chosen.seeds))
    _say(result)
    return 1 if result.failures else 0


def _play(name: str) -> int:
    target, _, seed = name.partition("-")
    findings = played(target, int(seed))
    for failure in findings.found.values():
        print(f"{failure.location} at step {failure.step}\n{_printable(failure.error)}\n{_printable(failure.trace)}")
    print(f"{name}: {len(findings.found)} failures; " + ", ".join(f"{k} {v}" for k, v in findings.counts.items()))
    return 1 if findings.found else 0


def _say(result: Result) -> None:
    seeds = ", ".join(f"{target} {count}" for target, count in sorted(result.seeds.items()))
    for failure in sorted(result.failures.values(), key=lambda f: -result.times[f.location]):
        print(
            f"\n{failure.location}: {result.times[failure.location]} seeds, first after {failure.seconds:.0f} s: "
            f"--play {failure.target}-{failure.seed}, step {failure.step}\n{_printable(failure.error)}"
        )
        if "/" in failure.location:
            print(_printable(failure.trace[-2000:]))
    print(f"\nseeds: {seeds}; {result.seconds / 60.0:.1f} min; {len(result.failures)} failures by location")
    print(", ".join(f"{word} {count}" for word, count in sorted(result.counts.items())))
    files = result.coverage()
    ran, can = sum(some for _, some, _ in files), sum(most for _, _, most in files)
    if ran:
        print(f"lines of collector/model and collector/engine.py that ran: {ran} of {can} ({ran / can:.0%}); fewest:")
        least = sorted((file for file in files if file[2]), key=lambda file: file[1] - file[2])
        print(
            "".join(f"  {Path(path).relative_to(ROOT)} {some} of {most}\n" for path, some, most in least[:10]), end=""
        )


def _printable(text: str) -> str:
    return "\n".join("".join(c if c.isprintable() else repr(c)[1:-1] for c in line) for line in text.split("\n"))


if __name__ == "__main__":
    sys.exit(main())
