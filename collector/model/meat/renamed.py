"""Pieces that a config calls otherwise in mid-cook: which is which, and which is lost. Pure."""

from collections.abc import Sequence

from msgspec.structs import replace

from collector.model.meat.piece import Piece

__all__ = ["carried_over"]


def carried_over(before: Sequence[Piece], now: Sequence[Piece]) -> tuple[tuple[Piece, ...], tuple[str, ...]]:
    """Carry a piece over to its new name, where just one went and one came, with the same probes.

    Args:
        before: as the cook had them.
        now: as the config has them now.

    Returns:
        The pieces of now, each with the names that it had in this cook; and sentences on what was carried over, and
        on what is lost.
    """
    names = {piece.name for piece in now}
    known = {piece.name: piece for piece in before}
    went = [piece for piece in before if piece.name not in names]
    came = [piece for piece in now if piece.name not in known]
    pieces = [replace(p, was=known[p.name].was) if p.name in known else p for p in now]
    if len(went) == len(came) == 1 and _probes(went[0]) == _probes(came[0]):
        (old,), (new,) = went, came
        renamed = replace(new, was=(*old.was, old.name))
        said = f"the piece {old.name} is now called {new.name}: its phase and its clocks go on"
        return tuple(renamed if p.name == new.name else p for p in pieces), (said,)
    lost = tuple(
        f"the piece {piece.name} is no longer in the config: its phase, its clocks and its forecast are lost; name it "
        "as it was, or say its phase anew with `coldside meat`"
        for piece in went
    )
    return tuple(pieces), lost


def _probes(piece: Piece) -> set[str]:
    return {part.probe for part in piece.parts}
