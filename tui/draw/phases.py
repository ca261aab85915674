"""What can be told of a piece of meat: into which phase it went over, the likeliest first."""

import msgspec

from collector.model.meat.phases import SAID_OF_A_PIECE
from collector.model.meat.piece import MeatPhase
from collector.snapshot import MeatView
from tui.draw.clean import clean
from tui.draw.view import View

__all__ = ["PhaseStep", "phase_steps"]

WORDS = {MeatPhase(phase): says for word, (phase, says) in SAID_OF_A_PIECE.items() if word != "unwrap"}
ORDER = tuple(MeatPhase)


class PhaseStep(msgspec.Struct, frozen=True):
    """One thing to tell of a piece."""

    piece: str
    phase: MeatPhase
    words: str


def phase_steps(meat: tuple[MeatView, ...], view: View) -> tuple[PhaseStep, ...]:
    """List what can be told of every piece; of each first what comes next, then what would take it back."""
    steps = []
    for piece in meat:
        at = next((i for i, phase in enumerate(ORDER) if phase == piece.phase), 0)
        name = clean(piece.name, 30, ascii_only=view.ascii_only)
        for phase in (*ORDER[at + 1 :], *reversed(ORDER[:at])):
            words = WORDS[phase]
            if phase is MeatPhase.COOKING and piece.phase == MeatPhase.WRAPPED:
                _, words = SAID_OF_A_PIECE["unwrap"]
            steps.append(PhaseStep(piece.name, phase, f"{name}: {phase} ({words})"))
    return tuple(steps)
