"""What the cook does to the cook: marks, meat, acknowledgements, the shelf; sent to the collector, its answer shown."""

from typing import TYPE_CHECKING, cast

from collector import wire
from collector.model.meat.spots import Spot
from collector.snapshot import AlarmState
from tui.draw.alarms import AlarmRow
from tui.draw.by_hand import read_spot, usual_where
from tui.draw.marks import mark_words
from tui.draw.phases import PhaseStep, phase_steps
from tui.draw.pieces import NO_PIECE
from tui.draw.words import age, clock
from tui.errors import ClientError
from tui.screens.note import NoteScreen
from tui.screens.piece import PieceScreen
from tui.screens.spot import SpotScreen

if TYPE_CHECKING:
    from tui.app import Dashboard
    from tui.pit import Pit

__all__ = ["Commander"]


class Commander:
    """The half of the app that sends commands; the client gives each its number."""

    @property
    def _app(self) -> "Dashboard":
        return cast("Dashboard", self)

    def _chosen(self) -> AlarmRow | None:
        alarm = self._app.board.alarm_list.chosen
        if alarm is None:
            self._app.notify("no alarm is standing")
        return alarm

    def _send(self, command: wire.Request, done: str, pit: "Pit | None" = None) -> None:
        """Send to a pit, the one that is shown now if no other is meant."""
        self._app.run_worker(self._ask(pit or self._app.shown, command, done), name="command", group="command")

    async def _ask(self, pit: "Pit", command: wire.Request, done: str) -> bool:
        """Send, and say what became of it; tell whether it was done."""
        of = f"{pit.name}: " if len(self._app.pits) > 1 else ""
        try:
            reply = await pit.client.send(command)
        except ClientError as error:
            self._app.notify(f"{of}NOT DONE: {error}", severity="error", timeout=6.0)
            return False
        if reply.done:
            self._app.notify(f"{of}{done}")
        else:
            self._app.notify(f"{of}NOT DONE: {reply.why}", severity="error", timeout=6.0)
        return reply.done

    def _send_typed(self, command: wire.Request, done: str, pit: "Pit", typed: tuple[str, ...]) -> None:
        """Send what somebody typed; what is not taken stands there again when he comes back to it."""

        async def ask() -> None:
            if not await self._ask(pit, command, done):
                pit.not_taken.setdefault(type(command), []).append(typed)

        self._app.run_worker(ask(), name="command", group="command")

    def action_mark(self, kind: str) -> None:
        """Keep a mark."""
        self._send(wire.AddMark(0, kind), f"marked: {kind}")

    def action_note(self) -> None:
        """Ask for a note and keep it at the pit that was shown when it was asked for."""
        pit = self._app.shown

        def keep(text: str | None) -> None:
            if text:
                self._send_typed(wire.AddMark(0, "note", text), f"noted: {text}", pit, (text,))

        (typed,) = pit.typed_before(wire.AddMark, ("",))
        self._app.push_screen(NoteScreen(pit.name if len(self._app.pits) > 1 else "", typed), keep)

    def action_piece(self) -> None:
        """Ask which piece went over into which phase, and tell the pit that was shown when it was asked."""
        pit = self._app.shown
        steps = phase_steps(pit.newest.meat, self._app.view) if pit.newest else ()
        if not steps:
            self._app.notify(NO_PIECE, timeout=6.0)
            return

        def tell(step: PhaseStep | None) -> None:
            if step is not None:
                self._send(wire.TurnMeat(0, step.piece, step.phase), f"{step.piece}: {step.phase}", pit)

        self._app.push_screen(PieceScreen(steps, pit.name if len(self._app.pits) > 1 else ""), tell)

    def action_spot(self) -> None:
        """Ask for a reading by hand and keep it at the pit that was shown when it was asked for."""
        pit = self._app.shown
        unit = "F" if self._app.view.fahrenheit else "C"

        typed = pit.typed_before(wire.AddSpot, (usual_where(pit.newest) if pit.newest else "", ""))

        def read(where: str, value: str) -> Spot:
            nonlocal typed
            typed = where, value
            return read_spot(where, value, unit, pit.newest)

        def keep(spot: Spot | None) -> None:
            if spot is not None:
                self._send_typed(wire.AddSpot(0, spot), f"on record: {spot.where}", pit, typed)

        where, value = typed
        name = pit.name if len(self._app.pits) > 1 else ""
        self._app.push_screen(SpotScreen(where, unit, read, name, value), keep)

    def action_judge_event(self, verdict: str) -> None:
        """Confirm or delete the chosen event."""
        marks = self._app.board.mark_list
        event = marks.chosen
        if event is None or self._app.board.focused is not marks:  # what nobody looks at is not deleted
            key = self._app.key_of("marks", "j")
            self._app.notify(f"no event is chosen: {key} goes to the marks, the arrow keys to an event", timeout=6.0)
            return
        view = self._app.view
        told = f"{clock(event.time_unix, view)} {mark_words(event, view)}"
        if verdict == "confirm":
            self._send(wire.Confirm(0, event.event), f"confirmed: {told}")
        else:
            self._send(wire.Delete(0, event.event), f"deleted: {told}")

    def action_acknowledge(self) -> None:
        """Acknowledge the chosen trouble or alarm; one that is latched and was seen is reset."""
        if self._app.turned_by_itself():  # he may not have read yet what this key would acknowledge
            self._app.notify(f"{self._app.shown.name} is shown since a moment ago: press again if you mean its alarm")
            return
        if alarm := self._chosen():
            if alarm.state is AlarmState.LATCHED:
                self._send(wire.Reset(0, alarm.key), f"reset: {alarm.named}")
            else:
                self._send(wire.Acknowledge(0, alarm.key), f"acknowledged: {alarm.named}")

    def action_acknowledge_all(self) -> None:
        """Acknowledge every alarm."""
        self._send(wire.Acknowledge(0), "acknowledged all alarms")

    def action_shelve(self, seconds: float) -> None:
        """Put the chosen alarm, or those of the chosen trouble, aside."""
        if alarm := self._chosen():
            told = f"shelved for {age(seconds)}: {alarm.named}"
            self._send(wire.Shelve(0, alarm.key, seconds), told)

    def action_unshelve(self) -> None:
        """Take the chosen alarm back; the first shelved one when none of that state is chosen."""
        if (found := self._at_rest(AlarmState.SHELVED)) is None:
            self._app.notify("no alarm is shelved")
        else:
            self._send(wire.Unshelve(0, found[0]), f"taken back: {found[1]}")

    def action_remove(self) -> None:
        """Take the chosen alarm, or those of the chosen trouble, out of service."""
        if alarm := self._chosen():
            if alarm.state is AlarmState.OUT_OF_SERVICE:
                self._app.notify(f"is out of service already: {alarm.named}")
                return
            self._send(wire.TakeOut(0, alarm.key), f"out of service until it is put back: {alarm.named}")

    def action_restore(self) -> None:
        """Put the chosen alarm back into service; the first that is out when no such one is chosen."""
        if (found := self._at_rest(AlarmState.OUT_OF_SERVICE)) is None:
            self._app.notify("no alarm was taken out of service")
        else:
            self._send(wire.PutBack(0, found[0]), f"back in service: {found[1]}")

    def _at_rest(self, state: AlarmState) -> tuple[str, str] | None:
        """Give key and words of the chosen alarm if it is in this state, else of the first that is."""
        chosen, newest = self._app.board.alarm_list.chosen, self._app.newest
        if chosen is not None and chosen.state is state:
            return chosen.key, chosen.named
        resting = [a for a in newest.alarms if a.state is state] if newest else []
        return (resting[0].key, f"{resting[0].rule} {resting[0].subject}") if resting else None
