"""What draws air through the pit: the weight of a column of cold air less that of the hot one in the stack. Pure.

An estimate for a planned change of the stack. It takes the flue to be as hot all the way up, the air to be dry and at
rest outside, and the losses of inlet, firebox and chamber to stay as they are: so it tells what a change does far
better than what the pit draws in all. Wind on the stack's mouth is often as strong as all of this.
"""

import math

import msgspec

__all__ = ["GRAVITY_OVER_GAS", "Stack", "draught_pascal", "flow_cubic_metres_per_second", "flow_ratio", "wind_pascal"]

GRAVITY_OVER_GAS = 9.80665 / 287.05
"""Standard gravity (ISO 80000-3) over the specific gas constant of dry air (ICAO standard atmosphere), K/m."""
GAS = 287.05
ZERO_CELSIUS_KELVIN = 273.15
STANDARD_PASCAL = 101_325.0
DISCHARGE = 0.65
"""Share of the ideal flow that passes a short stack with a bend and a damper at its foot (from memory)."""


class Stack(msgspec.Struct, frozen=True):
    """A stack and the air in and around it."""

    height_m: float
    """From the grate, where the hot column begins, to its mouth."""
    diameter_m: float
    flue_celsius: float
    outside_celsius: float
    pascal: float = STANDARD_PASCAL
    """Pressure of the air at the pit."""


def draught_pascal(stack: Stack) -> float:
    """Give the theoretical draught: p · g/R · h · (1/T outside - 1/T flue).

    The formula that *Steam* (Babcock & Wilcox) writes as D = 0.52 H P (1/T - 1/T1), in SI.
    """
    outside, flue = (celsius + ZERO_CELSIUS_KELVIN for celsius in (stack.outside_celsius, stack.flue_celsius))
    return stack.pascal * GRAVITY_OVER_GAS * stack.height_m * (1.0 / outside - 1.0 / flue)


def flow_cubic_metres_per_second(stack: Stack) -> float:
    """Give what it would pass if nothing else held it back: C A sqrt(2 Δp / density); 0 where it does not draw."""
    drawn = draught_pascal(stack)
    if drawn <= 0.0:
        return 0.0
    density = stack.pascal / (GAS * (stack.flue_celsius + ZERO_CELSIUS_KELVIN))
    return DISCHARGE * math.pi / 4.0 * stack.diameter_m**2 * math.sqrt(2.0 * drawn / density)


def flow_ratio(before: Stack, after: Stack, share_of_stack: float) -> float:
    """Give by what the flow is multiplied when the stack is changed; NaN where it did not draw before.

    Args:
        before: the stack as it is.
        after: as it is planned.
        share_of_stack: share of all that holds the flow back that is the stack itself, 0 to 1; the rest (inlet,
            firebox, chamber) stays.
    """
    drawn = draught_pascal(before), draught_pascal(after)
    if drawn[0] <= 0.0:
        return math.nan
    narrower = (before.diameter_m / after.diameter_m) ** 4
    resistance = 1.0 - share_of_stack + share_of_stack * narrower
    return math.sqrt(max(drawn[1], 0.0) / drawn[0] / resistance)


def wind_pascal(metres_per_second: float, outside_celsius: float, pascal: float = STANDARD_PASCAL) -> float:
    """Give the dynamic pressure of wind, half its density times its speed squared: what a gust may add or take."""
    density = pascal / (GAS * (outside_celsius + ZERO_CELSIUS_KELVIN))
    return 0.5 * density * metres_per_second**2
