"""Files from elsewhere: taken whole, or refused with where and why; never by half, never with a traceback."""

import contextlib
import functools
import hashlib
import io
import json
import random
import tempfile
import zipfile
from importlib.resources import files
from pathlib import Path

import cbor2

from collector.replay import differences
from collector.store.archive import Archive
from tests.adapters.decode.fuzz import mutated
from tests.collector.stores import START, cook_one
from tests.fuzz.failures import Findings, must
from tests.fuzz.texts import check_text, hostile
from tui.cli import main

__all__ = ["run"]

PIT = str(files("sample_streams") / "pit.toml")
FILES = 8
VALUES = (
    "225.4",
    "",
    "nan",
    "-",
    "1e308",
    "1.7e308",
    "-1e308",
    "inf",
    "1e999",
    "0x10",
    "abc",
    "٢٢٥",
    "1,5",
    "-460",
    "9" * 400,
)
TIMES = (
    "2026-05-01T20:{:02}:00Z",
    "2026-05-01 20:{:02}",
    "1777665{:02}0",
    "1777665{:02}0000",
    "{}",
    "9999-12-31T23:59:{:02}Z",
)


def run(dice: random.Random, findings: Findings, folder: Path) -> None:
    """Import some files that are odd."""
    for k in range(FILES):
        make = dice.choice((_csv, _csv, _sensml, _cbor, _own_export, _whole_cook))
        findings.step = f"file {k} {make.__name__.strip('_')}"
        name, content, words = make(dice)
        path = folder / name
        path.write_bytes(content)
        with findings.guard("import"):
            _taken(path, folder / f"{k}.db", words, findings)


def _taken(path: Path, store: Path, words: list[str], findings: Findings) -> None:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            code = main(["import", str(path), "--store", str(store), *words])
        except SystemExit as end:  # argparse
            code = int(end.code or 0)
    check_text("import: what is said", out.getvalue() + err.getvalue(), quotes=True)
    findings.count("taken" if code == 0 else f"refused with {code}")
    if code:
        must(err.getvalue().strip(), "import: refused without a word", f"exit code {code}")
        must(not store.exists(), "import: refused, and a store is left behind", err.getvalue()[:300])
        return
    with Archive(store) as archive:
        cook = archive.cook("last")
        must(cook.readings, "import: taken without a reading")
        found = [] if path.suffix == ".zip" else differences(archive, cook)  # a whole cook is not judged again
        must(not found, "import: a replay gives another alarm log", "\n".join(found[:5]))


def _csv(dice: random.Random) -> tuple[str, bytes, list[str]]:
    known = ["grate point", "meat flat", "ambient", "top fire"]
    columns = dice.sample([*known, *([hostile(dice)] if dice.random() < 0.3 else [])], dice.randrange(1, 5))
    delimiter, form = dice.choice(",;\t"), dice.choice(TIMES)
    sane = dice.random() < 0.5
    lines = [delimiter.join(("time", *columns))]
    for minute in range(dice.choice((1, 5, 40))):
        values = [
            dice.choice(VALUES) if not sane or dice.random() < 0.02 else f"{150 + dice.random():.1f}" for _ in columns
        ]
        lines.append(delimiter.join((form.format(minute), *values)))
    words = dice.choice(([], ["--unit", "F"], ["--unit", "C"], ["--unit", "K", "--sort", "--sure"]))
    words = [*words, "--timezone", "America/Chicago"] if dice.random() < 0.7 else words
    places = ["--no-places"] if dice.random() < 0.3 else ["-c", PIT]
    content = "\n".join(lines).encode("utf-8", "surrogatepass")
    if dice.random() < 0.3:
        content = mutated(dice, [content])
    return "odd.csv", content, [*words, *places]


def _records(dice: random.Random) -> list[dict[str, object]]:
    known = ["grate-point", "meat-flat", "ambient", "grate-stack"]
    names = dice.sample([*known, *([hostile(dice)] if dice.random() < 0.2 else [])], dice.randrange(1, 5))
    records: list[dict[str, object]] = []
    for k in range(dice.choice((1, 10, 60))):
        value = dice.choice((107.2, 107.2, 107.2, 1e308, -1e308, 1.9e305, 0, -400, 1e30))
        record: dict[str, object] = {
            "n": dice.choice(names),
            "u": dice.choice(("Cel", "Cel", "K", "%", "")),
            "v": value,
        }
        record["t"] = dice.choice((10.0 * k, 10.0 * k, 1e300 if dice.random() < 0.02 else 10.0 * k))
        records.append(record)
    records[0]["bt"] = dice.choice((1_777_665_600.0, 1_777_665_600.0, 0.0, 1e18))
    if dice.random() < 0.3:
        records[0]["bn"] = "night:"
    return records


def _sensml(dice: random.Random) -> tuple[str, bytes, list[str]]:
    content = ("[" + ",\n".join(json.dumps(record) for record in _records(dice)) + "\n]").encode()
    if dice.random() < 0.4:
        content = mutated(dice, [content])
    return "odd.sensml", content, ["--no-places"] if dice.random() < 0.6 else ["-c", PIT]


LABELS = {"n": 0, "u": 1, "v": 2, "t": 6, "bt": -3, "bn": -2}


def _cbor(dice: random.Random) -> tuple[str, bytes, list[str]]:
    content = cbor2.dumps([{LABELS[label]: value for label, value in record.items()} for record in _records(dice)])
    if dice.random() < 0.4:
        content = mutated(dice, [content])
    return "odd.senmlc", content, ["--no-places"]


@functools.cache
def _exported(form: str) -> bytes:
    """Give a sound export of a small cook."""
    with tempfile.TemporaryDirectory() as folder:
        store, path = Path(folder) / "cooks.db", Path(folder) / f"first.{form}"
        cook_one(store, "first", START, seconds=300, every=60)
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            code = main(["export", "first", "--store", str(store), "--format", form, "-o", str(path)])
        must(code == 0, "imports: no export to start from", form)
        return path.read_bytes()


def _own_export(dice: random.Random) -> tuple[str, bytes, list[str]]:
    """Spoil an export of our own."""
    form = dice.choice(("csv", "sensml"))
    lines = _exported(form).split(b"\n")
    for _ in range(dice.choice((0, 1, 1, 3))):
        k = dice.randrange(len(lines))
        lines[k] = mutated(dice, [lines[k] or b"x"])
    return f"own.{form}", b"\n".join(lines), ["--no-places"] if dice.random() < 0.5 else ["-c", PIT]


def _whole_cook(dice: random.Random) -> tuple[str, bytes, list[str]]:
    """Spoil a member of a whole cook's file, and sign it anew, so that more than its hash is looked at."""
    with zipfile.ZipFile(io.BytesIO(_exported("zip"))) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    for _ in range(dice.choice((0, 1, 1, 2))):
        name = dice.choice([*members])
        lines = members[name].split(b"\n")
        k = dice.randrange(len(lines))
        lines[k] = mutated(dice, [lines[k] or b"x"])
        members[name] = b"\n".join(lines)
    with contextlib.suppress(ValueError, TypeError, KeyError):
        document = json.loads(members["cook.json"])
        document["files"] |= {n: hashlib.sha256(members[n]).hexdigest() for n in document["files"] if n in members}
        members["cook.json"] = json.dumps(document).encode()
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    content = made.getvalue()
    if dice.random() < 0.1:
        content = mutated(dice, [content])
    return "whole.zip", content, []
