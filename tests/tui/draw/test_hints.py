"""The bottom line: whole hints only, and what stands in a column."""

from hypothesis import given
from hypothesis import strategies as st

from tui.draw.hints import Hint, hint_line
from tui.draw.line import plain, width

HINTS = [Hint("question_mark", "?", "help"), Hint("a", "a", "alarms"), Hint("right", "→", "later")]
SOME = st.lists(
    st.builds(Hint, st.just("x"), st.text("abc→", min_size=1, max_size=3), st.text("defg", min_size=1, max_size=9)),
    max_size=9,
)


def test_hints_stand_one_after_the_other():
    drawn = hint_line(HINTS, 80)
    assert plain(drawn.line).rstrip() == "? help a alarms → later"
    assert [drawn.hint_at(x) for x in (0, 5)] == [HINTS[0], HINTS[0]]
    assert drawn.hint_at(6) is None, "the blank between"
    assert drawn.hint_at(7) == HINTS[1]
    assert drawn.hint_at(79) is None


@given(SOME, st.integers(0, 60))
def test_none_is_cut_and_the_first_ones_are_there(hints, cells):
    drawn = hint_line(hints, cells)
    text = plain(drawn.line)
    assert list(drawn.hints) == hints[: len(drawn.hints)]
    assert width(drawn.line) <= cells + 1, "but for the blank behind the last"
    for x in range(len(text)):
        hint = drawn.hint_at(x)
        if hint is not None and drawn.hint_at(x - 1) is not hint:
            assert text[x:].startswith(f"{hint.shown} {hint.label} ")
    if len(drawn.hints) < len(hints):
        following = hints[len(drawn.hints)]
        assert width(drawn.line) + len(following.shown) + 1 + len(following.label) > cells
