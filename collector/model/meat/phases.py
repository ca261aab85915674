"""What a cook says of a piece, the phase that it means, and how it reads. It imports nothing: `--help` shows it."""

__all__ = ["SAID_OF_A_PIECE"]

SAID_OF_A_PIECE = {
    "on": ("cooking", "it lies in the pit"),
    "wrap": ("wrapped", "it was wrapped"),
    "unwrap": ("cooking", "it was unwrapped"),
    "rest": ("resting", "it came off and rests"),
    "hold": ("holding", "it is held hot"),
    "cool": ("cooling", "it is cooled, to be kept"),
    "off": ("off", "it was served, or put away"),
    "forget": ("not on yet", "it was not on after all"),
}
"""By the word of the command: a `collector.model.meat.piece.MeatPhase`, and a sentence."""
