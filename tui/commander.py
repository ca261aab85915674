"""What the cook does to the cook: marks, acknowledgements, the shelf; sent to the collector, its answer shown."""

from typing import TYPE_CHECKING, cast

from collector import wire
from collector.snapshot import AlarmState, AlarmView
from tui.draw.marks import mark_words
from tui.draw.words import age, clock
from tui.errors import ClientError
from tui.screens.note import NoteScreen

if TYPE_CHECKING:
    from tui.app import Dashboard

__all__ = ["Commander"]


class Commander:
    """The half of the app that sends commands; the client gives each its number."""

    @property
    def _app(self) -> "Dashboard":
        return cast("Dashboard", self)

    def _chosen(self) -> AlarmView | None:
        alarm = self._app.board.alarm_list.chosen
        if alarm is None:
            self._app.notify("no alarm is standing")
        return alarm

    def _send(self, command: wire.Command, done: str) -> None:
        self._app.run_worker(self._ask(command, done), name="command", group="command")

    async def _ask(self, command: wire.Command, done: str) -> None:
        try:
            reply = await self._app.client.send(command)
        except ClientError as error:
            self._app.notify(f"NOT DONE: {error}", severity="error", timeout=6.0)
            return
        if reply.done:
            self._app.notify(done)
        else:
            self._app.notify(f"NOT DONE: {reply.why}", severity="error", timeout=6.0)

    def action_mark(self, kind: str) -> None:
        """Keep a mark."""
        self._send(wire.AddMark(0, kind), f"marked: {kind}")

    def action_note(self) -> None:
        """Ask for a note and keep it."""

        def keep(text: str | None) -> None:
            if text:
                self._send(wire.AddMark(0, "note", text), f"noted: {text}")

        self._app.push_screen(NoteScreen(), keep)

    def action_judge_event(self, verdict: str) -> None:
        """Confirm or delete the chosen event."""
        event = self._app.board.mark_list.chosen
        if event is None:
            self._app.notify("no event is chosen: go to the marks first")
            return
        view = self._app.view
        told = f"{clock(event.time_unix, view)} {mark_words(event, view)}"
        if verdict == "confirm":
            self._send(wire.Confirm(0, event.event), f"confirmed: {told}")
        else:
            self._send(wire.Delete(0, event.event), f"deleted: {told}")

    def action_acknowledge(self) -> None:
        """Acknowledge the chosen alarm."""
        if alarm := self._chosen():
            self._send(wire.Acknowledge(0, alarm.key), f"acknowledged: {alarm.rule} {alarm.subject}")

    def action_acknowledge_all(self) -> None:
        """Acknowledge every alarm."""
        self._send(wire.Acknowledge(0), "acknowledged all alarms")

    def action_shelve(self, seconds: float) -> None:
        """Put the chosen alarm aside."""
        if alarm := self._chosen():
            told = f"shelved for {age(seconds)}: {alarm.rule} {alarm.subject}"
            self._send(wire.Shelve(0, alarm.key, seconds), told)

    def action_unshelve(self) -> None:
        """Take the chosen alarm back; the first shelved one when none of that state is chosen."""
        alarm = self._app.board.alarm_list.chosen
        if alarm is None or alarm.state is not AlarmState.SHELVED:
            newest = self._app.newest
            shelved = [a for a in newest.alarms if a.state is AlarmState.SHELVED] if newest else []
            alarm = shelved[0] if shelved else None
        if alarm is None:
            self._app.notify("no alarm is shelved")
            return
        self._send(wire.Unshelve(0, alarm.key), f"taken back: {alarm.rule} {alarm.subject}")
