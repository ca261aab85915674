"""The model's constants: how they are counted, and that they do not grow in number."""

from tests.bench.constants import MOST_PLAIN, MOST_WITHIN, constants_of, model_constants, undocumented

SOURCE = '''
"""A module."""

LIMIT = 8.3
"""Kelvin, 15 °F."""
NEAR, FAR = 2.0, -3.0
HOUR = 60 * 60
KNOTS = (1.0, 2.0, 3.0)
NAME = "grate"
ON = True
_HIDDEN: float = 0.5
__all__ = ["LIMIT"]
small = 4.0


def work() -> float:
    INSIDE = 5.0
    return INSIDE
'''


def test_counts_numbers_in_capitals_at_module_level() -> None:
    found = constants_of(SOURCE, "a.py")
    assert [c.name for c in found if c.plain] == ["LIMIT", "NEAR", "FAR", "HOUR", "_HIDDEN"]
    assert [(c.name, c.within) for c in found if not c.plain] == [("KNOTS", 3)]


def test_lists_those_without_a_docstring() -> None:
    assert [c.name for c in undocumented(constants_of(SOURCE, "a.py"))] == ["NEAR", "FAR", "HOUR", "KNOTS", "_HIDDEN"]


def test_the_model_has_no_more_constants_than_before() -> None:
    found = model_constants()
    assert sum(constant.plain for constant in found) <= MOST_PLAIN
    assert sum(constant.within for constant in found) <= MOST_WITHIN
