"""The fault book: what raises is replaced, counted and called, and nothing else changes."""

import logging
import pickle

import pytest

from collector.fault_log import FaultLog
from collector.faults import CALL_AFTER_SECONDS, FaultBook
from collector.snapshot import AlarmState, Priority


def fails():
    raise ValueError("\x1b[31msecret of a stranger")


@pytest.fixture
def book():
    return FaultBook()


def test_a_part_that_works_leaves_no_trace(book):
    assert book.attempt("fire", 0.0, lambda: 7, lambda: 0) == 7
    assert not book.records
    assert not book.troubles(0.0)


def test_a_part_that_raises_is_replaced_and_counted(book):
    assert book.attempt("fire", 10.0, fails, lambda: 0, critical=True) == 0
    assert book.attempt("fire", 15.0, fails, lambda: 0, critical=True) == 0
    (fault,) = book.records
    assert (fault.part, fault.count, fault.since_unix, fault.last_unix) == ("fire", 2, 10.0, 15.0)


def test_what_is_shown_of_a_fault_holds_no_text_from_outside(book):
    book.attempt("fire", 0.0, fails, lambda: 0)
    (view,) = book.views(0.0)
    assert view.error.startswith("ValueError in test_fault_book.py, line ")
    assert "secret" not in view.error
    assert "secret of a stranger" in book.records[0].traceback, "the log has it"
    assert "\x1b" not in book.records[0].traceback


def test_an_error_with_a_very_long_text_is_kept_short(book):
    book.record("fire", 0.0, ValueError("x" * 5_000_000))
    assert len(book.records[0].traceback) < 1000


def test_a_fault_of_what_nobody_asks_for_again_is_over_after_two_minutes(book):
    book.record("what a person asked for", 0.0, ValueError())
    book.attempt("form of the news", 0.0, fails, lambda: 0, lasting=False)
    assert len(book.standing(119.0)) == 2
    assert not book.standing(121.0)
    book.attempt("fire", 0.0, fails, lambda: 0)
    assert [fault.part for fault in book.standing(9999.0)] == ["fire"], "of what is tried again until it works"


def test_the_last_good_value_is_kept_with_its_time_where_that_is_harmless(book):
    book.attempt("trend", 1.0, lambda: 5, lambda: 0, keep=True)
    assert book.attempt("trend", 9.0, fails, lambda: 0, keep=True) == 5
    assert book.views(9.0)[0].good_unix == 1.0
    book.attempt("fire", 1.0, lambda: 5, lambda: 0)
    assert book.attempt("fire", 9.0, fails, lambda: 0) == 0, "never for others"


def test_a_fault_that_comes_and_goes_is_one_until_it_has_worked_for_two_minutes(book):
    for now in range(0, 600, 20):
        build = fails if now % 40 == 0 else lambda: 1
        book.attempt("fire", float(now), build, lambda: 0)
    assert book.standing(600.0)[0].since_unix == 0.0
    book.attempt("fire", 600.0, lambda: 1, lambda: 0)
    assert not book.standing(600.0 + 121.0)
    book.attempt("fire", 900.0, fails, lambda: 0)
    assert book.standing(900.0)[0].since_unix == 900.0, "a new spell"


def test_a_critical_fault_is_shown_at_once_and_calls_after_two_minutes(book):
    book.attempt("fire", 0.0, fails, lambda: 0, critical=True)
    book.attempt("trend", 0.0, fails, lambda: 0)
    shown = book.troubles(1.0)
    assert [(t.key, t.priority, t.state) for t in shown] == [
        ("fault/fire", Priority.URGENT, AlarmState.UNACKNOWLEDGED),
        ("fault/trend", Priority.NOTE, AlarmState.UNACKNOWLEDGED),
    ]
    assert "fault/fire" not in [t.key for t in book.troubles(CALL_AFTER_SECONDS - 1.0, calling_only=True)]
    assert "fault/fire" in [t.key for t in book.troubles(CALL_AFTER_SECONDS, calling_only=True)]


def test_an_acknowledgement_holds_for_the_spell_and_not_for_the_next(book):
    book.attempt("fire", 0.0, fails, lambda: 0, critical=True)
    assert book.acknowledge("fault/fire")
    assert book.troubles(1.0)[0].state is AlarmState.ACKNOWLEDGED
    book.attempt("fire", 5.0, fails, lambda: 0, critical=True)
    assert book.troubles(5.0)[0].state is AlarmState.ACKNOWLEDGED
    book.attempt("fire", 6.0, lambda: 1, lambda: 0)
    book.attempt("fire", 999.0, fails, lambda: 0, critical=True)
    assert book.troubles(999.0)[0].state is AlarmState.UNACKNOWLEDGED
    assert not book.acknowledge("fault/unheard of")


def test_a_book_survives_pickling(book):
    book.attempt("fire", 0.0, fails, lambda: 0, keep=True)
    assert pickle.loads(pickle.dumps(book)).records == book.records


def test_the_log_has_each_fault_once_an_hour_with_its_traceback_and_its_count(book, caplog):
    log = FaultLog()
    with caplog.at_level(logging.ERROR):
        for second in range(3700):
            book.attempt("fire", float(second), fails, lambda: 0)
            log.write(book.records, float(second))
    first, second = [record.getMessage() for record in caplog.records]
    assert "in fails" in first
    assert "1 times in all" in first
    assert "3601 times in all, 3600 times since it was last written here" in second
