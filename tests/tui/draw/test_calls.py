"""How calls are told: whom something was sent to, what keeps it from going out, when it was last proven."""

from datetime import UTC

from msgspec.structs import replace

from collector.snapshot import AlarmState, CallsView, CallView, Priority, ToldView, TroubleView
from tui.draw.alarms import alarm_rows, calls_lines, pressing_line
from tui.draw.calls import call_words, calls_status, result_words
from tui.draw.line import plain
from tui.draw.summary import status_lines
from tui.draw.view import View

VIEW = View(zone=UTC)
NIGHT = 1_700_000_000.0  # 22:13:20
PUSH = ToldView("Ann", "push", (NIGHT - 120.0, NIGHT), False, "")
FAILED = ToldView("Ben", "mail", (), True, "answers 500")
CALL = CallView(1, "cold", NIGHT - 120.0, (PUSH, FAILED), ("Cyd",))
TEST = TroubleView(
    "test", Priority.NOTE, AlarmState.UNACKNOWLEDGED, True, NIGHT, "a test of the wake-up", "acknowledge it",
    float("nan"), float("nan"), "", (),
)  # fmt: skip


def test_it_says_sent_to_whom_by_what_and_when_and_what_did_not_go_out():
    said = [words for words, _ in call_words(CALL, VIEW)]
    assert said == [
        "sent to Ann by push 22:11, 22:13, not acknowledged", "NOT sent to Ben by mail: answers 500, tried again",
        "waits for the end of the quiet hours of Cyd",
    ]  # fmt: skip
    assert not any("delivered" in words for words in said)
    assert result_words(CALL) == ["Ann by push: sent", "Ben by mail: NOT sent: answers 500; it is tried again"]
    on_its_way = replace(CALL, told=(replace(FAILED, error=""),), held=())
    assert call_words(on_its_way, VIEW) == [("on its way to Ben by mail", "plain")]
    assert result_words(on_its_way) == []


def test_what_holds_for_all_calls():
    calls = CallsView((), None, 2, NIGHT - 60.0, (("push", "answers 500"),), NIGHT - 3900.0)
    assert [words for words, _ in calls_status(calls, NIGHT, VIEW)] == [
        "push does not take messages: answers 500", "2 messages wait, since 22:12",
        "wake-up last proven 21:08, 1 h 05 ago",
    ]  # fmt: skip
    assert "never proven" in calls_status(CallsView(), NIGHT, VIEW)[0][0]


def test_the_list_has_it_below_its_trouble_and_a_test_is_a_row_to_acknowledge(night, alarm):
    cold = replace(TEST, key="cold", title="stack end is cold", alarms=("cold-spot/stack end",))
    calls = CallsView((CALL,), replace(CALL, trouble="test", number=0, told=(PUSH,), held=()))
    snapshot = night(alarms=(alarm("cold-spot/stack end"),), troubles=(cold, TEST), calls=calls)
    rows = alarm_rows(snapshot, VIEW, 70, 40)
    assert [row.key for row in rows] == ["cold-spot/stack end", "test"]
    assert "  sent to Ann by push 22:11, 22:13, not acknowledged" in [plain(line) for line in rows[0].lines]
    assert "a test of the wake-up; acknowledge it" in plain(rows[1].lines[0])
    assert plain(calls_lines(snapshot, VIEW, 70)[0]).startswith("wake-up never proven")
    assert all(len(plain(line)) <= 40 for row in alarm_rows(snapshot, VIEW, 40, 40) for line in row.lines)
    assert "a test of the wake-up" in plain(pressing_line(night(alarms=(), troubles=(TEST,), calls=calls), VIEW, 120))
    said = status_lines(snapshot, VIEW)
    assert "calls       cold: sent to Ann by push 22:11, 22:13, not acknowledged" in said
    assert "calls       test: sent to Ann by push 22:11, 22:13, not acknowledged" in said
    assert calls_lines(night(), VIEW, 70) == []
