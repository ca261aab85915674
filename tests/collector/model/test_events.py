"""Events the curves show, and what the cook says of them: counted once, counted no more, joined with his own marks."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.model.events import KEPT, EventBook
from collector.model.fire import FireWatch
from collector.model.lid import LidWatch
from collector.model.rhythm import JOIN_SECONDS, Rhythm
from collector.snapshot import Mark, Verdict

STEP = 5.0
PERIOD = 2400.0
NIGHT = 1_700_000_000.0


def saw(seconds, *, first=600.0):
    """Give a level that turns up every `PERIOD` from `first` on, up in a third of it."""
    phase = ((seconds - first) % PERIOD) / PERIOD
    return 110.0 + 8.0 * (phase * 3 if phase < 1 / 3 else (1 - phase) * 1.5)


def followed(until, rhythm, start=0.0):
    """Feed a rhythm the saw-tooth; give when it saw refuels."""
    looks = np.arange(start, until, STEP)
    return [seen for t in looks if (seen := rhythm.look(float(t), saw(t), 8.0)) is not None]


def test_a_split_marked_before_or_after_it_shows_is_one_refuel():
    plain, before, after = Rhythm(), Rhythm(), Rhythm()
    true = followed(20_000, plain)
    assert len(true) == 8
    early, late = true[3] - 300.0, true[3] + 900.0
    followed(early, before)
    before.tell(early)
    followed(20_000, before, early)
    followed(late, after)
    after.tell(late)
    followed(20_000, after, late)
    assert before.count == after.count == plain.count == 8
    assert before.refuels[3] == early
    assert after.refuels[3] == late


def test_a_split_that_never_shows_counts_and_what_shows_much_later_is_another():
    rhythm = Rhythm()
    rhythm.tell(1500.0)
    seen = followed(20_000, rhythm, 1500)
    assert seen[0] - 1500.0 > JOIN_SECONDS
    assert rhythm.count == len(seen) + 1


def test_a_deleted_refuel_leaves_the_rhythm_and_a_confirmed_one_comes_back():
    rhythm = Rhythm()
    seen = followed(20_000, rhythm)
    period, due = rhythm.period_seconds, rhythm.due_unix
    rhythm.delete(seen[-1])
    assert rhythm.count == len(seen) - 1
    assert rhythm.due_unix == pytest.approx(due - PERIOD, abs=60.0)
    rhythm.confirm(seen[-1])
    assert (rhythm.count, rhythm.period_seconds, rhythm.due_unix) == (len(seen), period, due)


@given(st.lists(st.tuples(st.sampled_from(["tell", "delete"]), st.floats(0, 86_400)), max_size=40))
def test_the_count_is_that_of_the_times_and_no_two_splits_told_are_taken_for_one_further_apart_than_joined(said):
    rhythm = Rhythm()
    for what, time_unix in said:
        getattr(rhythm, what)(time_unix)
    assert rhythm.count == len(rhythm.refuels)
    assert list(rhythm.refuels) == sorted(rhythm.refuels)
    told = [t for what, t in said if what == "tell"]
    assert rhythm.count <= len(told)


def opened(lid, at, depth=15.0, until=900.0):
    """Feed a lid a dip that begins at a time; give when it was seen to open."""
    seen = None
    for t in np.arange(at - 60.0, at + until, STEP):
        past = np.array([_dip(t - k * STEP - at, depth) for k in range(11, -1, -1)])
        if lid.look(float(t), STEP, past, float(past.max() - past[-1]), math.nan):
            seen = float(t) - STEP
    return seen


def _dip(since, depth):
    if since <= 0:
        return 110.0
    return 110.0 - depth * min(since / 60.0, 1.0) * math.exp(-max(since - 60.0, 0.0) / 900.0)


def test_a_deleted_opening_counts_no_more_nor_does_what_it_cost():
    lid = LidWatch()
    seen = opened(lid, 1000.0)
    assert seen is not None
    assert lid.openings == 1
    assert lid.newest_unix == seen
    lid.delete(seen)
    assert (lid.openings, lid.newest_unix, lid.open_unix) == (0, 0.0, None)
    assert lid.settled(1300.0)
    lid.confirm(seen)
    assert (lid.openings, lid.newest_unix) == (1, seen)


def test_an_opening_deleted_while_the_lid_stands_open_is_not_seen_again():
    lid = LidWatch()
    seen = opened(lid, 1000.0, until=40.0)
    assert lid.open_unix == seen
    lid.delete(seen)
    assert lid.open_unix is None
    for t in np.arange(1040.0, 1900.0, STEP):
        past = np.array([_dip(t - k * STEP - 1000.0, 15.0) for k in range(11, -1, -1)])
        assert not lid.look(float(t), STEP, past, float(past.max() - past[-1]), math.nan)
    assert lid.openings == 0
    assert lid.settled(1900.0)
    assert opened(lid, 5000.0) is not None
    assert lid.openings == 1


@pytest.mark.parametrize(("apart", "openings"), [(-600.0, 1), (300.0, 1), (-1800.0, 2), (1800.0, 2)])
def test_an_opening_marked_near_one_that_is_seen_counts_once(apart, openings):
    lid = LidWatch()
    told = 3000.0 + apart
    if apart < 0:
        lid.tell(told)
    opened(lid, 3000.0)
    if apart > 0:
        lid.tell(told)
    assert lid.openings == openings


def test_a_deletion_of_what_was_never_seen_changes_nothing():
    lid, rhythm = LidWatch(), Rhythm()
    lid.delete(5.0)
    lid.confirm(5.0)
    rhythm.delete(5.0)
    assert (lid.openings, rhythm.count) == (0, 0)


def burnt(dies=math.inf, hours=8.0):
    """Follow a night of the saw-tooth whose fire gets no more splits from a time on; give the watch and its marks."""
    watch, marks, curve = FireWatch(99.0, 127.0, STEP), [], []
    rng = np.random.default_rng(5)
    for k, t in enumerate(np.arange(0, hours * 3600, STEP)):
        level = min(15 + 98 * t / 3000, saw(t))
        if t > dies:
            level = saw(dies) - 40.0 * (1 - math.exp(-(t - dies) / 5400))
        curve.append(level + rng.normal(0, 0.1))
        fall = max(curve[-12:]) - curve[-1]
        marks += watch.look(float(t), curve[-1], fall, fall)
        if k % 6 == 0:
            watch.look_at_slope()
    return watch, marks


def test_a_fire_that_does_not_pick_up_is_marked_once_and_a_sound_one_never():
    dies = 600.0 + 9 * PERIOD - 100.0
    watch, marks = burnt(dies)
    stalls = [m for m in marks if m.kind == "seen-stall"]
    assert len(stalls) == 1
    last = max(m.time_unix for m in marks if m.kind == "seen-refuel")
    assert stalls[0].since_unix == last
    assert 1.35 * watch.rhythm.period_seconds < stalls[0].time_unix - last < 2.5 * PERIOD
    assert not [m for m in burnt()[1] if m.kind == "seen-stall"]


def test_an_identity_is_the_kind_and_the_second_and_the_cooks_own_marks_have_none():
    book = EventBook()
    assert book.add(Mark(NIGHT + 0.4, "seen-refuel")).event == "refuel/20231114T221320Z"
    assert book.add(Mark(NIGHT, "seen-lid")).event == "lid/20231114T221320Z"
    assert book.add(Mark(NIGHT, "note", "oak")).event == ""
    for strange in ("", "refuel", "note/20231114T221320Z"):
        with pytest.raises(KeyError):
            book.find(strange)


@pytest.mark.parametrize(("own", "seen"), [("split", "seen-refuel"), ("lid", "seen-lid")])
@pytest.mark.parametrize("apart", [-1100.0, -60.0, 60.0, 1100.0, -1300.0, 1300.0])
def test_a_mark_of_the_cooks_confirms_what_is_seen_near_it_before_or_after(own, seen, apart):
    book = EventBook()
    for mark in sorted([Mark(NIGHT, seen), Mark(NIGHT + apart, own)], key=lambda m: m.time_unix):
        book.add(mark)
    found = next(m for m in book.marks() if m.kind == seen)
    assert found.verdict is (Verdict.CONFIRMED if abs(apart) <= JOIN_SECONDS else None)


def test_one_mark_of_the_cooks_confirms_one_event():
    book = EventBook()
    book.add(Mark(NIGHT, "lid"))
    assert book.add(Mark(NIGHT + 60.0, "seen-lid")).verdict is Verdict.CONFIRMED
    assert book.add(Mark(NIGHT + 700.0, "seen-lid")).verdict is None


def test_a_deleted_event_is_kept_and_not_joined_again():
    book = EventBook()
    event = book.add(Mark(NIGHT, "seen-refuel")).event
    book.judge(event, Verdict.DELETED)
    book.add(Mark(NIGHT + 60.0, "split"))
    assert book.find(event).verdict is Verdict.DELETED


def test_only_the_newest_marks_can_be_found():
    book = EventBook()
    first = book.add(Mark(NIGHT, "seen-lid")).event
    for k in range(KEPT):
        book.find(first)
        book.add(Mark(NIGHT + k, "note"))
    with pytest.raises(KeyError):
        book.find(first)
    assert len(book.marks()) == KEPT
