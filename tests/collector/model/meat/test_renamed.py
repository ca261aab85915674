"""A piece that the config calls otherwise in mid-cook."""

from collector.model.meat.piece import Part, Piece
from collector.model.meat.renamed import carried_over

BRISKET = Piece("brisket", parts=(Part("flat", "a"), Part("point", "b")))
SHOULDER = Piece("shoulder", parts=(Part("middle", "c"),))


def named(piece, name):
    return Piece(name, parts=tuple(reversed(piece.parts)))


def test_one_that_went_and_one_that_came_with_its_probes_are_the_same():
    (now, other), said = carried_over((BRISKET, SHOULDER), (named(BRISKET, "packer"), SHOULDER))
    assert (now.name, now.was, other) == ("packer", ("brisket",), SHOULDER)
    assert said == ("the piece brisket is now called packer: its phase and its clocks go on",)
    (again,), _ = carried_over((now,), (named(BRISKET, "thirteen pounds"),))
    assert again.was == ("brisket", "packer")
    (kept,), said = carried_over((again,), (named(BRISKET, "thirteen pounds"),))
    assert (kept.was, said) == (("brisket", "packer"), ()), "the config knows nothing of earlier names"


def test_otherwise_it_is_said_what_is_lost():
    for now in ((), (named(SHOULDER, "ham"),), (named(BRISKET, "one"), named(SHOULDER, "two"))):
        pieces, said = carried_over((BRISKET,) if len(now) < 2 else (BRISKET, SHOULDER), now)
        assert pieces == now
        assert all("no longer in the config" in words for words in said)
        assert len(said) == max(1, len(now))
