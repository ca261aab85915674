"""A piece that is added to a running cook, and what is refused."""

import math

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.model.meat.described import piece_doubt, piece_mistake
from collector.model.meat.piece import DAY_SECONDS, SOONEST_SECONDS, Part, Piece

PIECE = Piece("brisket", parts=(Part("flat", "a", 74.0, 95.0), Part("point", "b", 74.0, 95.0)), mass_kg=6.0)
PROBES = ["a", "b", "c"]


def test_a_good_piece_is_taken():
    assert piece_mistake(PIECE, PROBES, ()) == ""
    assert piece_mistake(PIECE, PROBES, [Piece("other", parts=(Part("x", "c"),))]) == ""


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"name": ""}, "names"),
        ({"name": "bris\x1b[31mket"}, "printed"),
        ({"parts": ()}, "one to 8"),
        ({"parts": (Part("flat", "a"), Part("flat", "b"))}, "one to 8"),
        ({"parts": (Part("flat", "a"), Part("point", "a"))}, "of its own"),
        ({"parts": (Part("flat", "z"),)}, "no meat probe 'z'; there is a, b, c"),
        ({"parts": (Part("flat", "a", None, 482.0),)}, "113 F to 221 F"),
        ({"parts": (Part("flat", "a", math.nan, 95.0),)}, "113 F to 221 F"),
        ({"parts": (Part("flat", "a", 95.0, 74.0),)}, "before it is wrapped"),
        ({"hold_celsius": math.nan}, "hold meat"),
        ({"hold_celsius": 260.0}, "hold meat"),
        ({"rest_seconds": -600.0}, "within a day"),
        ({"serve_day_seconds": 90_000.0}, "within a day"),
        ({"mass_kg": -5.0}, "no mass"),
        ({"clocks_change": (math.nan, 3600.0)}, "no clock"),
        ({"clocks_change": (1.8e9, 1e9)}, "no clock"),
        ({"clocks_change": (1.8e9, math.nan)}, "no clock"),
        ({"place": (0.5, 0.2, 0.1, 0.2)}, "from less to more"),
        ({"place": (0.1, math.nan, 0.1, 0.2)}, "from less to more"),
    ],
)
def test_what_cannot_be_is_told(change, word):
    assert word in piece_mistake(msgspec.structs.replace(PIECE, **change), PROBES, ())


@given(
    st.floats(0.0, 86_399.0), st.floats(1.7e9, 1.9e9), st.floats(-2e5, 2e5), st.floats(-86_400.0, 86_400.0)
)  # fmt: skip
def test_whatever_clock_is_changed_there_is_a_time_to_serve(day, on, change, ahead):
    piece = msgspec.structs.replace(PIECE, serve_day_seconds=day, clocks_change=(on + change, ahead))
    assert on + SOONEST_SECONDS <= piece.serve_unix(on) <= on + SOONEST_SECONDS + 2.01 * DAY_SECONDS


def test_a_probe_in_another_piece_and_too_many_pieces_are_refused():
    assert "in other already" in piece_mistake(PIECE, PROBES, [Piece("other", parts=(Part("x", "b"),))])
    assert "at most 16" in piece_mistake(PIECE, PROBES, [Piece(f"{k}", parts=(Part("x", "c"),)) for k in range(16)])


def test_a_floor_below_the_food_code_is_doubted():
    assert piece_doubt(PIECE) == ""
    assert "FDA Food Code" in piece_doubt(msgspec.structs.replace(PIECE, hold_celsius=54.4))
