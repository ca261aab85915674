"""SenML and SensML (RFC 8428): packs in JSON and CBOR to resolved records, and records to JSON.

A `Resolver` holds the base fields of one pack or stream; each persists on its own until replaced (section 4.1). Packs
are not required to be chronological here: a stream from several probes is not, and order is the screening's business.
"""

import io
import math
import re
from collections.abc import Iterable
from typing import Any

import msgspec

from adapters.errors import DecodeError
from adapters.reading import FURTHEST_UNIX

__all__ = [
    "VERSION",
    "Record",
    "Resolver",
    "SenmlRecord",
    "decode_cbor",
    "decode_json",
    "encode_record",
    "parse_line",
]

VERSION = 10
"""Highest version understood (section 4.4)."""
RELATIVE_BELOW = 2.0**28
"""Times below are relative to now, in seconds (section 4.5.3)."""
MAX_BYTES = 1 << 20
MAX_RECORDS = 10_000

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*\Z")
_CBOR_LABELS = {
    -1: "bver",
    -2: "bn",
    -3: "bt",
    -4: "bu",
    -5: "bv",
    -6: "bs",
    0: "n",
    1: "u",
    2: "v",
    3: "vs",
    4: "vb",
    5: "s",
    6: "t",
    7: "ut",
    8: "vd",
}
"""Labels of the CBOR form (section 6, table 4)."""


class SenmlRecord(msgspec.Struct, frozen=True, gc=False):
    """One record as it stands in a pack, in the labels of table 1; None is absent."""

    n: str | None = None
    t: float | None = None
    v: float | None = None
    u: str | None = None
    bn: str | None = None
    bt: float | None = None
    bu: str | None = None
    bv: float | None = None
    bs: float | None = None
    bver: int | None = None
    vs: str | None = None
    vb: bool | None = None
    vd: str | None = None
    s: float | None = None
    ut: float | None = None


_KNOWN = frozenset(SenmlRecord.__struct_fields__)


class Record(msgspec.Struct, frozen=True, gc=False):
    """A resolved record: full name, absolute time, no base fields (section 4.6)."""

    name: str
    time_unix: float
    unit: str | None
    """As written, base unit applied. None when neither was given."""
    value: float | str | bool | None
    """Number, string or truth value; data stays base64 text. None when there is only a sum."""
    sum: float | None = None
    update_seconds: float | None = None


class Resolver:
    """The base fields of one pack or stream, applied to its records in turn."""

    __slots__ = ("_bs", "_bu", "_bv", "_names", "_seen", "bn", "bt")

    def __init__(self) -> None:
        self.bn = ""
        self.bt = 0.0
        self._bu: str | None = None
        self._bv: float | None = None
        self._bs: float | None = None
        self._seen = 0
        self._names: dict[str, str] = {}

    def resolve(self, record: SenmlRecord, now_unix: float) -> Record:
        """Return the record with all base fields applied.

        Args:
            record: as parsed.
            now_unix: what relative times are counted from, Unix seconds.

        Raises:
            DecodeError: it breaks a rule of section 4; says which record, what was found and what is allowed.
        """
        self._seen += 1
        if record.bn is not None or record.bver is not None or record.bt is not None:
            self._take_base(record)
        if record.bu is not None:
            self._bu = record.bu
        if record.bv is not None:
            self._bv = self._finite("bv", record.bv)
        if record.bs is not None:
            self._bs = self._finite("bs", record.bs)
        name = self._names.get(record.n or "")
        if name is None:
            name = self._check_name(record.n or "")
        time_unix = self.bt if record.t is None else self.bt + self._finite("t", record.t)
        if time_unix < RELATIVE_BELOW:
            time_unix += now_unix
        if not abs(time_unix) < FURTHEST_UNIX:
            raise self._error(f"a time of {time_unix:g} s since 1970, which is {FURTHEST_UNIX:g} at most; see bt and t")
        total = record.s
        if total is not None or self._bs is not None:
            total = self._finite("s", (total or 0.0) + (self._bs or 0.0))
        return Record(
            name,
            time_unix,
            record.u if record.u is not None else self._bu,
            self._value(record, total is not None),
            total,
            record.ut,
        )

    def _take_base(self, record: SenmlRecord) -> None:
        if record.bver is not None and not 0 < record.bver <= VERSION:
            raise self._error(f"bver is {record.bver}, understood are versions 1 to {VERSION}")
        if record.bn is not None:
            self.bn = record.bn
            self._names.clear()
        if record.bt is not None:
            self.bt = self._finite("bt", record.bt)

    def _check_name(self, own: str) -> str:
        name = self.bn + own
        if not _NAME.match(name):
            found = "no name" if not name else f"the name {name[:80]!r}"
            raise self._error(f"{found}; a name starts with a letter or digit and holds only those and - : . / _")
        if len(self._names) >= MAX_RECORDS:
            self._names.clear()
        self._names[own] = name
        return name

    def _value(self, record: SenmlRecord, has_sum: bool) -> float | str | bool | None:
        value = record.v
        if value is not None and record.vs is None and record.vb is None and record.vd is None:
            if self._bv is not None:
                value += self._bv
            return self._finite("v", value)
        given = [field for field in (record.v, record.vs, record.vb, record.vd) if field is not None]
        if len(given) > 1:
            raise self._error("more than one of v, vs, vb and vd; one is allowed")
        if given:
            return given[0]
        if self._bv is not None:
            return self._bv
        if not has_sum:
            raise self._error("no value; one of v, vs, vb, vd or a sum s is needed")
        return None

    def _finite(self, label: str, value: float) -> float:
        if not math.isfinite(value):
            raise self._error(f"{label} is {value}, a finite number is needed")
        return value

    def _error(self, sentence: str) -> DecodeError:
        return DecodeError(f"SenML record {self._seen}: {sentence}")


def decode_json(payload: bytes, now_unix: float) -> list[Record]:
    """Decode a SenML JSON pack.

    Args:
        payload: a JSON array of records, at most 1 MiB and 10,000 records.
        now_unix: what relative times are counted from, Unix seconds.

    Raises:
        DecodeError: it is no pack, or a record breaks a rule.
    """
    _check_size(payload)
    return _resolve_all(_parse_array(payload, "SenML pack"), now_unix)


def decode_cbor(payload: bytes, now_unix: float) -> list[Record]:
    """Decode a SenML CBOR pack; `vd` becomes hexadecimal text. Arguments and errors as `decode_json`."""
    import cbor2  # few pits need it

    _check_size(payload)
    stream = io.BytesIO(payload)
    try:
        pack = cbor2.load(stream)
    except (cbor2.CBORDecodeError, RecursionError, OverflowError, MemoryError, ValueError, TypeError) as fault:
        raise DecodeError(f"SenML pack: not CBOR ({_short(fault)})") from fault
    if stream.read(1):
        raise DecodeError("SenML pack: bytes after its end; one CBOR array is allowed")
    if not isinstance(pack, list):
        raise DecodeError(f"SenML pack: found {type(pack).__name__}, an array of records is needed")
    records = []
    for number, entry in enumerate(pack, 1):
        if not isinstance(entry, dict):
            raise DecodeError(f"SenML record {number}: found {type(entry).__name__}, a map is needed")
        named = {_CBOR_LABELS.get(label, label) if _is_int(label) else label: entry[label] for label in entry}
        _check_labels(named, number)
        fields = {label: _plain(named[label]) for label in named if label in _KNOWN}
        try:
            records.append(msgspec.convert(fields, SenmlRecord))
        except (msgspec.ValidationError, OverflowError, ValueError) as fault:
            raise DecodeError(f"SenML record {number}: {_short(fault)}") from fault
    return _resolve_all(records, now_unix)


def parse_line(line: bytes) -> list[SenmlRecord]:
    """Parse one line of a SensML stream (section 7): whole records, with the array's own marks wherever they fall.

    A line may begin with `[` or `,`, and end with `,` or `]`; one that holds only such marks has no record.

    Raises:
        DecodeError: it does not hold whole records.
    """
    body = line.strip()
    body = body.removeprefix(b"[").lstrip(b", \t") if body[:1] in b"[," else body
    body = body.rstrip(b", \t").removesuffix(b"]").rstrip(b", \t") if body[-1:] != b"}" else body
    return _parse_array(b"[%b]" % body, "SensML line") if body else []


def encode_record(
    name: str,
    value: float,
    seconds: float,
    *,
    unit: str | None = None,
    base_name: str | None = None,
    base_unix: float | None = None,
    base_unit: str | None = None,
) -> bytes:
    """Encode one numeric record as JSON, base fields first.

    Args:
        name: what follows the base name.
        value: a finite number.
        seconds: time against the base time.
        unit: a unit symbol (section 12.1, or another by agreement).
        base_name: sets the base name from here on.
        base_unix: sets the base time from here on.
        base_unit: sets the base unit from here on.

    Raises:
        DecodeError: a number is not finite, which JSON cannot say.
    """
    if not (math.isfinite(value) and math.isfinite(seconds)):
        raise DecodeError(f"SenML record of {name}: {value} at {seconds} cannot be written, finite numbers are needed")
    fields: dict[str, str | float | None] = {
        "bn": base_name,
        "bt": base_unix,
        "bu": base_unit,
        "n": name,
        "u": unit,
        "t": seconds,
        "v": value,
    }
    return msgspec.json.encode({label: field for label, field in fields.items() if field is not None})


_ARRAY = msgspec.json.Decoder(list[SenmlRecord])


def _parse_array(payload: bytes, what: str) -> list[SenmlRecord]:
    try:
        records = _ARRAY.decode(payload)
        # An unknown label is ignored unless it ends in _ (section 4.4); the fast parser cannot tell, so look closer.
        if b'_"' in payload or b"\\" in payload:
            for number, entry in enumerate(msgspec.json.decode(payload), 1):
                _check_labels(entry, number)
    except (msgspec.DecodeError, RecursionError, UnicodeDecodeError) as fault:
        raise DecodeError(f"{what}: {_short(fault)}; a JSON array of SenML records is needed") from fault
    return records


def _check_labels(entry: dict[Any, Any], number: int) -> None:
    for label in entry:
        if isinstance(label, str) and label.endswith("_") and label not in _KNOWN:
            raise DecodeError(f"SenML record {number}: label {label[:40]!r} must be understood, and is not")


def _resolve_all(records: Iterable[SenmlRecord], now_unix: float) -> list[Record]:
    resolver, resolved = Resolver(), []
    for number, record in enumerate(records, 1):
        if number > MAX_RECORDS:
            raise DecodeError(f"SenML pack: more than {MAX_RECORDS} records")
        resolved.append(resolver.resolve(record, now_unix))
    return resolved


def _check_size(payload: bytes) -> None:
    if len(payload) > MAX_BYTES:
        raise DecodeError(f"SenML pack: {len(payload)} bytes, at most {MAX_BYTES} are read")


def _is_int(label: object) -> bool:
    return isinstance(label, int) and not isinstance(label, bool)


def _plain(field: object) -> object:
    return field.hex() if isinstance(field, bytes) else field


def _short(fault: BaseException) -> str:
    return (str(fault) or type(fault).__name__)[:160]
