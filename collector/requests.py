"""What a dashboard asks, as the action that goes on record; and why it is refused."""

import msgspec

from adapters.text import clean_text
from collector import wire
from collector.engine import MOST_MARK_CHARACTERS, Engine
from collector.model.action import Action, ActionKind
from collector.model.meat.described import piece_mistake
from collector.model.meat.spots import MOST_WHERE_CHARACTERS, spot_mistake

__all__ = ["TEST_KEY", "action_of", "missing"]

TEST_KEY = "test"
"""Of the trouble that a test of the way to people stands for."""
MARK_KINDS = ("note", "split", "lid", "spritz", "wrap", "turned", "moved")
NO_SUCH_ALARM = "there is no such alarm; `coldside alarms` lists them"
NO_SUCH_PIECE = "there is no such piece of meat; `coldside meat list` shows them"
NO_SUCH_EVENT = "there is no such event among the newest marks; `coldside mark --events` lists them"


_OF_ALARM: dict[type[wire.OfAlarm], ActionKind] = {
    wire.Acknowledge: ActionKind.ACKNOWLEDGE,
    wire.Shelve: ActionKind.SHELVE,
    wire.Unshelve: ActionKind.UNSHELVE,
    wire.Reset: ActionKind.RESET,
    wire.TakeOut: ActionKind.REMOVE,
    wire.PutBack: ActionKind.RESTORE,
}


def action_of(command: wire.OnRecord, engine: Engine) -> Action:
    """Turn a dashboard's command into an action.

    Args:
        command: what is asked.
        engine: of the cook.

    Raises:
        KeyError: what it names is not there.
        ValueError: it asks for what nobody may; the sentence says why.
    """
    match command:
        case wire.AddMark():
            if command.kind not in MARK_KINDS or len(command.text) > MOST_MARK_CHARACTERS:
                kinds = ", ".join(MARK_KINDS)
                raise ValueError(f"a mark is one of {kinds}, with at most {MOST_MARK_CHARACTERS} characters")
            return Action(ActionKind.MARK, command.kind, text=clean_text(command.text, MOST_MARK_CHARACTERS))
        case wire.Confirm():
            return Action(ActionKind.CONFIRM, command.event)
        case wire.Delete():
            return Action(ActionKind.DELETE, command.event)
        case wire.SetMeat():
            meat = [probe.name for probe in engine.plan.probes if probe.duty == "meat"]
            others = [piece for piece in engine.pieces if piece.name != command.piece.name]
            if why := piece_mistake(command.piece, meat, others):
                raise ValueError(why)
            return Action(ActionKind.MEAT, command.piece.name, text=msgspec.json.encode(command.piece).decode())
        case wire.TurnMeat():
            return Action(ActionKind.MEAT_PHASE, command.piece, text=command.phase)
        case wire.AddSpot():
            if why := spot_mistake(command.spot):
                raise ValueError(why)
            spot = msgspec.structs.replace(command.spot, where=clean_text(command.spot.where, MOST_WHERE_CHARACTERS))
            return Action(ActionKind.SPOT, spot.where, text=msgspec.json.encode(spot).decode())
    if not command.alarm and not isinstance(command, wire.Acknowledge):
        raise ValueError("that is done to one alarm, by its key; `coldside alarms` lists them")
    seconds = command.seconds if isinstance(command, wire.Shelve) else 0.0
    action = Action(_OF_ALARM[type(command)], command.alarm, seconds)
    if why := engine.refusal(action):
        raise ValueError(why)
    return action


def missing(command: wire.Request) -> str:
    """Say that what a command names is not there."""
    if isinstance(command, wire.Confirm | wire.Delete):
        return NO_SUCH_EVENT
    return NO_SUCH_PIECE if isinstance(command, wire.TurnMeat) else NO_SUCH_ALARM
