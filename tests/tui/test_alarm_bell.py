from tui.alarm_bell import AGAIN_SECONDS, AlarmBell


def test_it_rings_for_a_new_cause_and_again_after_a_while():
    bell = AlarmBell(on=True)
    assert not bell.due(set(), 1000.0)
    assert bell.due({"a"}, 1001.0)
    assert not bell.due({"a"}, 1002.0)
    assert bell.due({"a", "b"}, 1003.0)
    assert not bell.due({"b"}, 1003.0 + AGAIN_SECONDS - 1.0)
    assert bell.due({"b"}, 1003.0 + AGAIN_SECONDS)
    assert not bell.due(set(), 2000.0)
    assert bell.due({"b"}, 2001.0)


def test_off_it_is_silent_and_switched_on_it_rings_for_what_still_stands():
    bell = AlarmBell(on=False)
    assert not bell.due({"a"}, 1000.0)
    bell.on = True
    assert bell.due({"a"}, 1000.5)
    assert not bell.due({"a"}, 1001.0)
