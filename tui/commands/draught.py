"""`coldside draught`: what a taller, lower or wider stack would do to the draw of the pit."""

import argparse
import json
import math

from tui.commands.options import add_json, metres, pascal
from tui.errors import TuiError
from tui.exit_codes import Exit

__all__ = ["add_options", "run"]

LEAST_SHARE, MOST_SHARE = 0.2, 0.8
"""What share of all that holds the air back is the stack nobody knows; between these it usually is (from memory)."""
BREEZE = 3.0
"""Metres a second: a gentle breeze, Beaufort 3 from its lower end (WMO)."""
ASSUMED = (
    "Assumed: the flue as hot all the way up, dry air, no wind, and inlet, firebox and chamber as they are.\n"
    "It tells the change, not what the pit draws in all; whether it made the chamber more even, only cooks can tell.\n"
    "A stack that draws worse may leave smoke and carbon monoxide where people breathe: cook outdoors."
)


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `draught`."""
    parser.add_argument(
        "--height", type=_length, required=True, metavar="L", help="of the stack above the grate, '36 in'"
    )
    parser.add_argument("--to-height", type=_length, metavar="L", help="as it is planned")
    parser.add_argument("--diameter", type=_length, required=True, metavar="L", help="of the stack inside, '6 in'")
    parser.add_argument("--to-diameter", type=_length, metavar="L", help="as it is planned")
    parser.add_argument("--flue", required=True, metavar="TEMPERATURE", help='of what leaves the chamber, "250 F"')
    parser.add_argument("--outside", required=True, metavar="TEMPERATURE", help='"50 F"')
    height = parser.add_mutually_exclusive_group()
    height.add_argument("--altitude", type=metres, metavar="M", help="height above the sea, '5280 ft'")
    height.add_argument("--pressure", type=pascal, metavar="P", help="what a barometer reads there, '1013 hPa'")
    add_json(parser)


def _length(words: str) -> float:
    from collector.settings.quantity import QuantityError, parse_length

    try:
        length = parse_length(words)
    except QuantityError:
        length = 0.0
    if not 0.01 <= length <= 30.0:
        raise argparse.ArgumentTypeError(f"{words!r} is no length of a stack; write '36 in' or '90 cm'")
    return length


def run(options: argparse.Namespace) -> int:
    """Print the draught before and after."""
    from adapters.decode.boiling import pressure_pascal
    from collector.model.draught import Stack, draught_pascal, flow_ratio, wind_pascal
    from collector.settings.quantity import QuantityError, parse_temperature

    try:
        flue, outside = parse_temperature(options.flue), parse_temperature(options.outside)
    except QuantityError as error:
        raise TuiError(str(error)) from error
    pressure = options.pressure or pressure_pascal(options.altitude or 0.0)
    before = Stack(options.height, options.diameter, flue, outside, pressure)
    after = Stack(
        options.to_height or options.height, options.to_diameter or options.diameter, flue, outside, pressure
    )  # fmt: skip
    ratios = sorted(flow_ratio(before, after, share) for share in (LEAST_SHARE, MOST_SHARE))
    wind = wind_pascal(BREEZE, outside, pressure)
    drawn = draught_pascal(before), draught_pascal(after)
    if options.json:
        print(json.dumps({
            "schema": 1, "before_pascal": drawn[0], "after_pascal": drawn[1], "breeze_pascal": wind,
            "flow_ratio": None if math.isnan(ratios[0]) else ratios,
        }))  # fmt: skip
        return Exit.OK
    if drawn[0] <= 0.0:
        print("it does not draw: the flue is no hotter than the air outside")
        return Exit.OK
    print(f"draught now      {drawn[0]:5.2f} Pa")
    if after != before:
        print(f"draught planned  {drawn[1]:5.2f} Pa, {100 * (drawn[1] / drawn[0] - 1):+.0f} %")
        low, high = (100 * (ratio - 1) for ratio in ratios)
        spread = f"{low:+.0f} %" if round(low) == round(high) else f"between {low:+.0f} and {high:+.0f} %"
        print(f"air drawn        {spread}{', by how much of the resistance is the stack' if low != high else ''}")
    print(f"a gentle breeze  {wind:5.2f} Pa on the stack's mouth, either way")
    print(ASSUMED)
    return Exit.OK
