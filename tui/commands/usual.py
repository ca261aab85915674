"""`coldside usual`: the pit's own pattern over its cooks, zone by zone, and what the weather does to it."""

import argparse
import sys

from tui.commands.options import add_config, add_json, add_store, chosen_unit, named_store
from tui.errors import TuiError
from tui.exit_codes import Exit

__all__ = ["add_options", "run"]


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `usual`."""
    parser.add_argument("--last", type=_count, metavar="N", help="of the newest N cooks (default: all)")
    parser.add_argument("--tag", metavar="TAG", help="of cooks with this tag only: those since a change, say")
    parser.add_argument("--unit", choices=("C", "F"), help="temperature unit (default: the config's)")
    parser.add_argument("--ascii", action="store_true", help="plain ASCII characters only")
    add_config(parser)
    add_store(parser)
    add_json(parser)


def _count(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 10_000:
        raise argparse.ArgumentTypeError(f"{text!r} is no number of cooks; 1 or more is")
    return int(text)


def run(options: argparse.Namespace) -> int:
    """Print what is usual."""
    import msgspec
    from msgspec.structs import asdict

    from collector.records import open_record
    from collector.usual import usual_cooks, usual_zones
    from tui.draw.usual import usual_lines
    from tui.draw.view import View

    unit = chosen_unit(options)
    with open_record(named_store(options)) as record:
        cooks = [cook for cook in record.cooks() if options.tag is None or options.tag in cook.tags]
        if options.tag is not None and not cooks:
            raise TuiError(f"no cook has the tag {options.tag!r}; `coldside cooks` lists them with their tags")
        plans = [record.plans(cook) for cook in cooks[-1:]]
        if not plans or not plans[0]:
            print("no cooks yet: what is usual is learned from them", file=sys.stderr)
            return Exit.FAILED
        plan = plans[0][-1][1]
        told = usual_cooks(record, cooks[-options.last :] if options.last else cooks, plan)
    zones = usual_zones(told)
    if options.json:
        document = {
            "schema": 1, "pit": plan.chamber.name, "cooks": [asdict(cook) for cook in told],
            "zones": [asdict(zone) for zone in zones],
        }  # fmt: skip
        print(msgspec.json.encode(document).decode())
    else:
        view = View(fahrenheit=unit == "F", ascii_only=options.ascii)
        print("\n".join(usual_lines(plan.chamber.name, zones, told, len(cooks), view)))
    return Exit.OK
