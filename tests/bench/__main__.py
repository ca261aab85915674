"""The speed bench: `python -m tests.bench [--rows 1,2] [--quick] [--json]`. Exit code 1 when a floor is missed.

A subject that fails does not take the others' figures with it; its traceback goes to standard error.
"""

import argparse
import importlib
import os
import sys
import time
import traceback
from typing import Any

os.environ["OPENBLAS_NUM_THREADS"] = "1"  # before numpy: more threads than cores turn a 1 ms solve into an 8 ms stall

SUBJECTS = {
    "ingest": (1,), "routing": (2,), "burst": (3,), "night": (4, 16), "sealed": (5, 6, 9),
    "store": (7, 8), "kill": (10,), "field": (11,),
    "widget": (12,), "chart": (13,), "dashboard": (14,), "start": (15,), "memory": (16,), "slope": (17,),
    "screening": (18,), "attach": (19,), "bluetooth": (21,),
}  # fmt: skip
"""Which module of this folder measures which rows."""
CI_ROWS = (2, 5, 6, 11, 17)
"""What a build server measures in a quarter of a minute, and lets fail only where a ratio is half of its floor."""
GROWTH = ("probes", "pits", "nights", "viewers", "kitchen", "sharing")
"""Which modules of `growth/` measure what something costs against how much of it there is."""
LONG = ("soak",)
"""Those that take minutes and run only where they are asked for."""


def _measured(module: str, quick: bool, failed: list[str]) -> Any:
    """Measure one subject; nothing where what it needs is not there, or where it fails, which is noted."""
    from tests.bench.broker import NoBrokerError
    from tests.bench.measure import Effort
    from tests.bluez.bus import NoDaemonError

    name = module.removeprefix("tests.bench.")
    print(f"{name} ...", end=" ", file=sys.stderr, flush=True)
    began = time.monotonic()
    try:
        return importlib.import_module(module).measure(Effort(quick))
    except (NoBrokerError, NoDaemonError) as error:
        print(f"{name}: left out, {error}", file=sys.stderr)
    except Exception:
        failed.append(name)
        traceback.print_exc()
    finally:
        print(f"{time.monotonic() - began:.0f} s", file=sys.stderr, flush=True)
    return None


def main() -> int:
    """Measure the rows asked for and print them."""
    from tests.bench.growth.curve import Curve
    from tests.bench.measure import Finding, machine
    from tests.bench.table import as_json, as_text

    known = sorted({row for rows in SUBJECTS.values() for row in rows})
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description="Measure against peers and ceilings.")
    parser.add_argument("--rows", metavar="N,N", help=f"only these: {','.join(map(str, known))}")
    parser.add_argument("--quick", action="store_true", help="fewer rounds, for a build server; figures wobble more")
    parser.add_argument("--growth", metavar="A,B", help=f"only tables of growth: {','.join((*GROWTH, *LONG))}")
    parser.add_argument("--ci", action="store_true", help="a few rows, quickly; fails only where a ratio has halved")
    parser.add_argument("--json", action="store_true", help="print one JSON document")
    options = parser.parse_args()
    wanted = [int(word) for word in options.rows.split(",")] if options.rows else known
    if unknown := sorted(set(wanted) - set(known)):
        parser.error(f"no row {unknown[0]}; there are {', '.join(map(str, known))}")
    if options.growth and (unknown_growth := sorted(set(options.growth.split(",")) - {*GROWTH, *LONG})):
        parser.error(f"no growth of {unknown_growth[0]}; there are {', '.join((*GROWTH, *LONG))}")
    if options.growth:
        wanted = []
    growing = options.growth.split(",") if options.growth else () if options.rows else GROWTH
    if options.ci:
        wanted, growing, options.quick = list(CI_ROWS), (), True
    about = machine()
    began = time.monotonic()
    findings: list[Finding] = []
    failed: list[str] = []
    for name, rows in SUBJECTS.items():
        if not set(rows) & set(wanted):
            continue
        found = _measured(f"tests.bench.{name}", options.quick, failed)
        findings += [finding for finding in found or () if isinstance(finding, Finding)]
    curves = [_measured(f"tests.bench.growth.{name}", options.quick, failed) for name in growing]
    grown = [curve for curve in curves if isinstance(curve, Curve)]
    about["load after"] = " ".join(f"{x:.2f}" for x in os.getloadavg())
    about["took"] = f"{time.monotonic() - began:.0f} s"
    if failed:
        about["failed"] = ", ".join(failed)
    findings.sort(key=lambda f: f.row)
    print(as_json(findings, grown, about) if options.json else as_text(findings, grown, about))
    missed = [f for f in findings if (f.row in CI_ROWS and f.halved if options.ci else f.verdict == "MISS")]
    return 1 if failed or missed else 0


if __name__ == "__main__":
    sys.exit(main())
