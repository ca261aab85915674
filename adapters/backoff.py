"""How long to wait before trying again. Pure: the caller brings the random numbers and does the sleeping."""

from random import Random

__all__ = ["delay_seconds"]


def delay_seconds(attempt: int, random: Random, *, first: float = 1.0, cap: float = 30.0) -> float:
    """Draw the delay before the given attempt: "full jitter", uniform between 0.1 of the step and the step.

    The step doubles with each attempt up to the cap; jitter keeps many clients of one broker from coming back at
    the same moment, and the tenth keeps one client from spinning.

    Args:
        attempt: 0 for the first retry.
        random: source of randomness, passed in so that a test can seed it.
        first: step of the first retry, seconds.
        cap: greatest step, seconds.
    """
    step = min(cap, first * 2.0 ** min(attempt, 32))
    return random.uniform(0.1 * step, step)
