"""Whether what several probes showed can have been one bath, and whether what was found of one is worth keeping."""

from collector.model.field import Array
from collector.model.robust import median

__all__ = ["FAR_KELVIN", "far", "not_one_place", "one_sided", "says_no_more"]

FAR_KELVIN = 2.0
FAR_SD = 3.0
"""What is off by more than both of these is not explained by what is stated of a probe (common practice, no source)."""


def far(off_kelvin: float, stated_sd_kelvin: float) -> bool:
    """Tell whether a probe is farther off than its stated tolerance explains."""
    return bool(abs(off_kelvin) > max(FAR_KELVIN, FAR_SD * stated_sd_kelvin))


def one_sided(off_kelvin: Array, stated_sd_kelvin: Array) -> bool:
    """Tell whether it is the bath that is off, and not the probes: half of them and at least two are far off one way.

    Args:
        off_kelvin: what each showed less what the bath should be, shape (n,).
        stated_sd_kelvin: standard deviation stated of each, shape (n,).
    """
    signs = [1 if off > 0.0 else -1 for off, sd in zip(off_kelvin, stated_sd_kelvin, strict=True) if far(off, sd)]
    most = max(signs.count(1), signs.count(-1))
    return most >= 2 and 2 * most >= off_kelvin.size


def not_one_place(celsius: Array, stated_sd_kelvin: Array, *, hot: bool) -> bool:
    """Tell whether probes lie farther apart than they would in one place.

    One that lies far from the median of all may be a bad probe; two are not, and in a hot chamber, where they hang
    apart all night, not even one.

    Args:
        celsius: what each shows, shape (n,).
        stated_sd_kelvin: standard deviation stated of each, shape (n,).
        hot: a fire is lit, and they show it.
    """
    off = celsius - median(celsius)
    count = sum(far(one, sd) for one, sd in zip(off, stated_sd_kelvin, strict=True))
    return count >= (1 if hot else 2)


def says_no_more(off_kelvin: float, sd_kelvin: float, stated_sd_kelvin: float) -> bool:
    """Tell whether what a bath says of a probe is no surer than what is stated of it, and nothing against that."""
    return sd_kelvin >= stated_sd_kelvin and abs(off_kelvin) <= 2.0 * max(sd_kelvin, stated_sd_kelvin)
