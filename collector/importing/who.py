"""Which probe a name in a file means: by what the user says, by the config, or as a probe without a place. Pure."""

from collections.abc import Mapping

from collector.model.plan import Plan, Probe
from collector.snapshot import ChamberView

__all__ = ["SOURCE", "UnknownProbeError", "Who", "placeless"]

SOURCE = "import"
"""Name of the source of a probe that the config does not know."""

Identity = tuple[str, str]
"""Source and key."""


class UnknownProbeError(ValueError):
    """A name means no probe; the message says how to mend it."""


class Who:
    """Finds probes by the names of a file.

    Args:
        plan: of the config; None: every name is a probe without a place.
        given: name of the probe by what stands in the file.

    Raises:
        UnknownProbeError: a given name is none of the plan.
    """

    def __init__(self, plan: Plan | None, given: Mapping[str, str]) -> None:
        self._plan = plan
        self._given = given
        self.found: dict[Identity, str] = {}
        """Every identity that was given out, and its name."""
        self._by_name = {} if plan is None else {p.name.casefold(): p for p in plan.probes}
        self._by_key = {} if plan is None else {p.key.casefold(): p for p in plan.probes}
        self._own = set() if plan is None else {(p.source, p.key) for p in plan.probes}
        for label, name in given.items():
            if plan is not None and name.casefold() not in self._by_name:
                raise UnknownProbeError(f"{label}={name}: the config has no probe {name!r}; it has {self._listed()}")

    def _listed(self) -> str:
        return ", ".join(p.name for p in self._plan.probes) if self._plan and self._plan.probes else "none"

    @property
    def chosen_only(self) -> bool:
        """Only what the user named is taken."""
        return bool(self._given)

    def knows(self, label: str) -> bool:
        """Tell whether a name means a probe."""
        if label in self._given:
            return True
        if self.chosen_only:
            return False
        return self._plan is None or label.casefold() in self._by_name or label.casefold() in self._by_key

    def identity(self, label: str) -> Identity:
        """Give the source and key of a probe by its name in the file.

        Raises:
            UnknownProbeError: it means none.
        """
        if not self.knows(label):
            raise UnknownProbeError(
                f"{label[:60]!r} is no probe of the config, which has {self._listed()}; say which it is: "
                f"--probe '{label[:60]}=NAME', or --no-places to take all without places"
            )
        name = self._given.get(label, label)
        if self._plan is None:
            found, shown = (SOURCE, name), name
        else:
            probe = self._by_name.get(name.casefold()) or self._by_key[name.casefold()]
            found, shown = (probe.source, probe.key), probe.name
        self.found[found] = shown
        return found

    def as_it_was(self, source: str, key: str, name: str) -> Identity:
        """Take a reading of coldside's own as it was.

        Args:
            source: its source.
            key: its key.
            name: of the probe then; empty: it had no place then either.

        Raises:
            UnknownProbeError: the config has no such probe, and it had a place.
        """
        if self._plan is not None and name and (source, key) not in self._own:
            raise UnknownProbeError(
                f"the probe {name!r} (source {source!r}, key {key!r}) is not in the config; add it with its place:"
                f' [[probe]] name = "{name}", source = "{source}", key = "{key}", x, y; or --no-places'
            )
        self.found[source, key] = name or key
        return source, key


def placeless(found: Mapping[Identity, str]) -> Plan:
    """Make a plan of probes that lie nowhere: their curves are kept and screened, no zone or map is made of them."""
    taken: set[str] = set()
    probes = []
    for (source, key), label in found.items():
        name, k = label, 2
        while name in taken:
            name, k = f"{label} {k}", k + 1
        taken.add(name)
        probes.append(Probe(name, source, key, duty="ambient"))
    nowhere = ChamberView("no places", "box", 1.0, 1.0, ())
    unknown = float("nan")
    return Plan(nowhere, tuple(probes), (), unknown, unknown, unknown)
