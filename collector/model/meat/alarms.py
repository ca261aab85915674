"""The alarm rules of the meat, applied to every piece. Pure."""

import math
from collections.abc import Iterable, Mapping
from functools import partial

from collector.faults import FaultBook
from collector.model.alarm import Alarm, Transition
from collector.model.meat.piece_watch import PieceLook
from collector.model.meat.safety import both_units
from collector.model.plan import Plan, Rule

__all__ = ["MEAT_RULES", "OWN_LIMITS", "MeatAlarms"]

MEAT_RULES = (
    "wrap-ready", "done", "meat-falling", "stall-long", "slipping", "hold-floor", "danger-soon", "danger-over",
    "cool-late", "slow-come-up", "come-up-over",
)  # fmt: skip
OWN_LIMITS = ("wrap-ready", "done", "hold-floor")
"""Rules that judge each part by a temperature of its own, or of its piece."""
_UNITS = dict.fromkeys(
    ("stall-long", "slipping", "danger-soon", "danger-over", "cool-late", "slow-come-up", "come-up-over"), "seconds"
)
_WORDS = {
    "wrap-ready": "the {} is at its wrap temperature: wrap it, if its bark pleases you",
    "done": "the {} is at its done temperature: {done}",
    "meat-falling": "the {} falls, or jumps, while it cooks: look at its probe and at the fire",
    "stall-long": "the {} stalls for longer than usual: wrap it, or give it time",
    "slipping": "the {} will be late: wrap it, or raise the pit a little",
    "hold-floor": "the {} is held too cold: bring it above {floor}, or serve or cool it",
    "danger-soon": "the {} has been between 41 and 135 °F without heat for three hours: hold it hot, cool it or "
    "serve it",
    "danger-over": "the {} has been between 41 and 135 °F without heat for four hours: your local code says "
    "what follows",
    "cool-late": "the {} cools too slowly for the {cooling}: divide it, put it on ice",
    "slow-come-up": "the {} has been between 50 and 130 °F on the fire for five hours: raise the pit now, six are the "
    "most that the published guideline allows",
    "come-up-over": "the {} has been between 50 and 130 °F on the fire for six hours, the most that the published "
    "guideline allows: your local code says what follows",
}


class MeatAlarms:
    """All alarms of all pieces.

    Args:
        plan: the rules, and the pieces there are.
        faults: contains the fault of one alarm.
    """

    def __init__(self, plan: Plan, faults: FaultBook) -> None:
        self._faults = faults
        self._rules: tuple[Rule, ...] = tuple(plan.rule(name) for name in MEAT_RULES)
        self._of: dict[str, dict[str, Alarm]] = {}
        self._own_celsius: dict[str, tuple[float, ...]] = {}
        for piece in plan.meat:
            self.add(piece.name)

    def add(self, piece: str) -> None:
        """Watch over one more piece."""
        if piece not in self._of:
            self._of[piece] = {r.name: Alarm(r, piece, _UNITS.get(r.name, "kelvin")) for r in self._rules}

    def own_celsius(self, key: str) -> tuple[float, ...]:
        """Give the temperatures that an alarm judges its piece by; none where its rule's limit holds for all."""
        return self._own_celsius.get(key, ())

    @property
    def alarms(self) -> dict[str, Alarm]:
        """Every alarm by its key."""
        return {alarm.key: alarm for alarms in self._of.values() for alarm in alarms.values()}

    def judge(self, now: float, looks: Iterable[PieceLook], quiet: Mapping[str, bool]) -> list[Transition]:
        """Feed every alarm; return the steps that followed.

        Args:
            now: Unix seconds.
            looks: of every piece.
            quiet: rules that are suppressed by design now.
        """
        steps: list[Transition] = []
        for look in looks:
            own = (look.wrap_celsius, look.done_celsius, (look.hold_celsius,))
            for rule, limits in zip(OWN_LIMITS, own, strict=True):
                self._own_celsius[self._of[look.name][rule].key] = limits
            for name, value in _values(look).items():
                alarm = self._of[look.name][name]
                words = _WORDS[name].format(
                    look.name, cooling=look.cooling, done=look.done_words, floor=both_units(look.hold_celsius)
                )
                feed = partial(
                    alarm.update, now, value, limit=alarm.rule.limit, message=words, suppress=quiet.get(name, False)
                )
                steps += self._faults.attempt(f"alarm {alarm.key}", now, feed, list, critical=True)
                if math.isinf(alarm.value):
                    alarm.value = math.nan
        return steps


def _values(look: PieceLook) -> dict[str, float]:
    """Give the number that each rule judges."""
    return {
        "wrap-ready": look.past_wrap_kelvin,
        "done": look.past_done_kelvin,
        "meat-falling": look.fallen_kelvin,
        "stall-long": look.stall_seconds,
        "slipping": look.late_seconds,
        "hold-floor": look.above_floor_kelvin,
        "danger-soon": look.danger_seconds,
        "danger-over": look.danger_seconds,
        "cool-late": look.cool_left_seconds,
        "slow-come-up": look.come_up_seconds,
        "come-up-over": look.come_up_seconds,
    }
