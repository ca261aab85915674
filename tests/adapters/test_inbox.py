"""The bounded queue: order, what it gives up, and that it never loses count."""

from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.inbox import Inbox
from adapters.reading import Reading


def reading(key: str, value: float, receipt: int | None = None) -> Reading:
    return Reading("s", key, value, 0.0, receipt=receipt)


def drain(inbox: Inbox) -> list[Reading]:
    out = []
    while (r := inbox.get()) is not None:
        out.append(r)
    return out


def test_first_in_first_out_while_there_is_room():
    inbox = Inbox(4)
    for k in range(4):
        inbox.put(reading("a", k))
    assert [r.celsius for r in drain(inbox)] == [0, 1, 2, 3]
    assert inbox.dropped == 0


def test_a_full_inbox_gives_up_the_oldest():
    inbox = Inbox(3)
    for k in range(10):
        inbox.put(reading("a", k))
    assert [r.celsius for r in drain(inbox)] == [7, 8, 9]
    assert inbox.dropped == 7


def test_the_newest_of_a_quiet_probe_survives_a_burst_of_another():
    inbox = Inbox(3)
    inbox.put(reading("quiet", 1.0))
    for k in range(1000):
        inbox.put(reading("loud", k))
    kept = drain(inbox)
    assert kept[0].key == "quiet"
    assert [r.celsius for r in kept[1:]] == [998, 999]
    assert inbox.dropped == 998


def test_a_reading_with_a_receipt_is_never_given_up():
    inbox = Inbox(2)
    inbox.put(reading("a", 0, receipt=7))
    for k in range(1, 50):
        inbox.put(reading("a", k))
    kept = drain(inbox)
    assert kept[0].receipt == 7
    assert [r.celsius for r in kept] == [0, 48, 49]


@given(
    st.integers(1, 12),
    st.lists(
        st.tuples(st.sampled_from("abcdefgh"), st.sampled_from(["put", "put", "put", "held", "get"])), max_size=200
    ),
)
@settings(max_examples=300, deadline=None)
def test_nothing_is_lost_uncounted(capacity, steps):
    inbox = Inbox(capacity)
    put, got, newest = [], [], {}
    for number, (key, what) in enumerate(steps):
        if what == "get":
            r = inbox.get()
            if r is not None:
                got.append(r)
        else:
            r = reading(key, number, receipt=number if what == "held" else None)
            inbox.put(r)
            put.append(r)
            newest[key] = r
        assert len(inbox) - inbox.held <= capacity
    got += drain(inbox)
    assert len(put) == len(got) + inbox.dropped
    assert {r.celsius for r in put if r.receipt is not None} <= {r.celsius for r in got}
    per_key = {}
    for r in got:
        assert r.celsius > per_key.get(r.key, -1), "order within a probe"
        per_key[r.key] = r.celsius
    if capacity >= 8:
        assert all(newest[k].celsius == per_key[k] for k in newest), "the newest of each probe survives"
