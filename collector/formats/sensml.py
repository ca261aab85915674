"""Readings as SensML (RFC 8428, JSON), which any player of SenML plays; what a value does not say stands beside it.

A record name holds letters, digits and `-:./_` (4.5.1), and is ours to choose: a probe is called by its key, made fit
and unique. Before a value, where there is something to say, records of the same time with names of their own:
`NAME:quality` (`vs`: quality and reason by the screening, where it is not good), `NAME:came` (the same as the source
gave it), `NAME:unit` (`vs`: in which it came, where not in °C), `NAME:delay` (`v` in s: the time less the probe's own).
A reading without a value is `vs` in its place, and the first record of each name is preceded by `NAME:series` (`vs`:
source and key as JSON).
"""

import re
from collections.abc import Iterator
from typing import Any

import msgspec

from adapters.decode.senml import encode_record
from adapters.reading import Quality, Reason, Unit
from collector.formats.lines import TextSink
from collector.store.record import Cook, Record
from collector.store.schema import SEQUENCE_BITS

__all__ = ["NO_VALUE", "SUFFIXES", "legal_names", "write_sensml"]

SUFFIXES = ("series", "quality", "came", "delay", "unit")
NO_VALUE = "no value"
_UNFIT = re.compile(r"[^A-Za-z0-9\-:./_]")
_UNITS = [unit.value for unit in Unit]


def legal_names(series: dict[int, tuple[str, str]]) -> dict[int, str]:
    """Name each series as RFC 8428 allows: by its key where that is fit, and no other is called so."""
    names: dict[int, str] = {}
    taken: set[str] = set()
    for number, (_, key) in sorted(series.items()):
        fit = _UNFIT.sub("_", key)
        base = fit if fit[:1].isascii() and fit[:1].isalnum() else f"p{fit}"
        if base.rpartition(":")[2] in SUFFIXES:
            base += "_"
        name, k = base, 2
        while name in taken:
            name, k = f"{base}-{k}", k + 1
        taken.add(name)
        names[number] = name
    return names


def write_sensml(record: Record, cook: Cook, file: TextSink) -> int:
    """Write the readings of a cook; return how many."""
    series = record.series()
    names = legal_names(series)
    known: set[int] = set()
    base_ms: int | None = None
    count = records = 0
    for ordinal, number, value, flags, source_ms, _ in record.rows(cook):
        ms = ordinal >> SEQUENCE_BITS
        first: dict[str, Any] = {}
        if base_ms is None:
            base_ms = ms
            first = {"bt": ms / 1000, "bu": "Cel"}
        at = (ms - base_ms) / 1000
        told = [{"n": f"{names[number]}:{what}", "t": at, **fields} for what, fields in _beside(flags, source_ms)]
        if number not in known:
            known.add(number)
            told.insert(
                0, {"n": f"{names[number]}:series", "t": at, "vs": msgspec.json.encode(series[number]).decode()}
            )
        lines = [msgspec.json.encode({**first, **fields}) for fields in told[:1]]
        lines += [msgspec.json.encode(fields) for fields in told[1:]]
        base = {} if told or not first else {"base_unix": first["bt"], "base_unit": "Cel"}
        if value is None:
            lines.append(msgspec.json.encode({"n": names[number], "t": at, "vs": NO_VALUE}))
        else:
            lines.append(encode_record(names[number], value / 1000, at, **base))
        for line in lines:
            file.write((",\n" if records else "[") + line.decode())
            records += 1
        count += 1
    file.write("\n]\n" if records else "[]\n")
    return count


def _beside(flags: int, source_ms: int | None) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield what is to be said beside a value."""
    for what, quality, reason in (("quality", flags >> 12 & 3, flags >> 14 & 63), ("came", flags & 3, flags >> 2 & 63)):
        if quality or reason:
            yield what, {"vs": f"{Quality(quality).name.lower()} {Reason(reason).name.lower()}"}
    if flags >> 8 & 15:
        yield "unit", {"vs": _UNITS[flags >> 8 & 15]}
    if source_ms is not None:
        yield "delay", {"u": "s", "v": -source_ms / 1000}
