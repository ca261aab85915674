"""The words of a comparison: three verdicts, and what would tell more."""

from dataclasses import dataclass

import pytest
from msgspec.structs import replace

from collector.comparing.compared import Budget, Comparison, DifferenceMap, Quantity, SideCook
from collector.comparing.saying import verdict
from collector.report.wording import Words
from tui.draw.comparison import comparison_lines, plan_lines

F, C = Words(fahrenheit=True), Words(fahrenheit=False)
SIDE = SideCook("spring", "spring", 1_790_000_000.0, 400, 60, ("a", "b"), ("c",), 112.0, None)


@dataclass(frozen=True)
class Told:
    change: float = 0.5
    low: float = -2.0
    high: float = 3.0
    needed: int | None = 3
    per_cook: bool = True

    def quantity(self):
        budget = (Budget("one cook is not the other", 1.5, self.per_cook), Budget("noise in time", 0.001, True))
        if not self.per_cook:
            budget = (Budget("probes that are not the same", 4.0, False), *budget)
        shown = self.low > 0 or self.high < 0
        return Quantity(
            "far-end-deficit", "K", "stack end below the grate's mean", 8.0, 8.0 + self.change, self.change, self.low,
            self.high, 1.2, shown, budget, self.needed, 50 / 9,
        )  # fmt: skip

    def comparison(self):
        cells = DifferenceMap(1.2, 0.5, 24, 9, (3.0,) * 108 + (0.5,) * 108, (1.0,) * 216)
        return Comparison(
            1, "our pit", "stack end", (SIDE,), (replace(SIDE, cook="summer"),), (self.quantity(),), cells, 2, 0, 100.0
        )


@pytest.mark.parametrize(
    ("told", "first"),
    [
        (Told(-6.0, -8.0, -4.0), "SHOWN: the stack end is 10.8 °F less cold against the grate's mean."),
        (Told(6.0, 4.0, 8.0), "SHOWN: the stack end is 10.8 °F colder against the grate's mean."),
        (Told(), "NO CHANGE OF 10 °F OR MORE; a smaller one is not ruled out."),
        (Told(2.0, -3.0, 7.0), "CANNOT TELL whether the stack end changed."),
    ],
)
def test_verdicts(told, first):
    assert verdict(told.comparison(), F)[0] == first


def test_what_more_cooks_would_tell():
    def last(told):
        return verdict(told.comparison(), C)[-1]

    assert last(Told(2.0, -3.0, 7.0)) == (
        "With 2 more cooks a side, a change of 5.6 °C would be shown nine times of ten."
    )
    assert "one more cook a side" in last(Told(2.0, -3.0, 7.0, needed=2))
    assert "would have been shown nine times of ten" in last(Told(2.0, -3.0, 7.0, needed=1))
    assert last(Told(2.0, -3.0, 7.0, needed=None, per_cook=False)) == (
        "No number of cooks would show a change of 5.6 °C this way; what would: the same probes in the same places, "
        "or calibrate them side by side."
    )


def test_a_difference_is_converted_as_a_difference():
    assert "lay 14.4 °F below the grate's mean before" in verdict(Told().comparison(), F)[1]
    assert "lay 8 °C below the grate's mean before" in verdict(Told().comparison(), C)[1]


def test_all_lines():
    lines = comparison_lines(Told().comparison(), F)
    assert max(map(len, lines)) <= 120
    assert any(line.lstrip().startswith("back") and "+5*" in line for line in lines)
    assert any(line.startswith("  door") and "+1" in line and "*" not in line for line in lines)
    assert not any("ups and downs" in line for line in lines), "a source that hardly counts is left out"
    assert "       left out, not believed for long enough: c" in lines
    assert plan_lines(Told(needed=1).quantity(), 2, F)[:2] == [
        "To show a change of 10 °F nine times of ten takes one cook a side.",
        "Reckoned from 2 cooks, with the same probes put back in the same places after it.",
    ]
    assert plan_lines(Told(needed=None).quantity(), 1, F)[0] == "No number of cooks would show a change of 10 °F."
