"""Cooks written in open formats, and read back to the same."""

import csv
import hashlib
import io
import json
import math
import subprocess
import sys
import zipfile
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.decode.senml import decode_json
from adapters.reading import Quality, Reading, Reason, Unit
from adapters.recording import readings as played_again
from collector.errors import CollectorError
from collector.formats import parquet as parquet_file
from collector.formats.cook_file import CookDocument, write_cook_file
from collector.formats.lines import line_writer
from collector.formats.moments import iso, milliseconds
from collector.formats.readings_csv import COLUMNS, row_of_fields, write_readings
from collector.formats.sensml import legal_names, write_sensml
from collector.formats.tables_csv import TABLES, read_table, write_table
from collector.store.archive import Archive
from collector.store.editor import Editor
from collector.store.row import row_of, with_verdict
from tests.collector.stores import START, cook_one
from tests.waiting import WAIT_SECONDS

JPEG = b"\xff\xd8\xff\xe0 and so on"


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    path = tmp_path_factory.mktemp("formats") / "cooks.db"
    cook_one(path, "tonight", START)
    with Editor(path) as editor:
        cook = editor.record.cook("tonight")
        editor.tag(cook, "oak")
        editor.note(cook, 'a note,\r\nof "two" lines')
        editor.photo(cook, "x.jpg", JPEG, "bark")
    return path


@pytest.fixture
def cook(store):
    with Archive(store) as archive:
        yield archive, archive.cook("tonight")


@given(st.integers(-(10**17), 10**17))
def test_a_time_reads_back_to_the_millisecond(ms):
    assert milliseconds(iso(ms)) == ms


def test_a_time_is_iso_8601_in_utc():
    assert iso(1_780_000_000_123) == "2026-05-28T20:26:40.123Z"
    assert datetime.fromisoformat(iso(1_780_000_000_123)) == datetime(2026, 5, 28, 20, 26, 40, 123_000, UTC)
    assert iso(-1) == "1969-12-31T23:59:59.999Z"
    assert iso(-62_135_596_800_000) == "0001-01-01T00:00:00.000Z"
    for wrong in ("2026-02-30T00:00:00.000Z", "2026-05-28", "", "2026-05-28T20:26:40.123"):
        with pytest.raises(ValueError, match="is no time"):
            milliseconds(wrong)


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"])), min_size=2, max_size=4))
@settings(max_examples=100)
def test_a_line_reads_back_whatever_is_in_it(fields):
    file = io.StringIO(newline="")
    line_writer(file)(fields)
    assert list(csv.reader(io.StringIO(file.getvalue(), newline=""), strict=True)) == [fields]


@given(
    st.floats(-300, 5000) | st.just(math.nan), st.none() | st.floats(START - 1e6, START + 1e6) | st.just(9e11),
    st.sampled_from(Unit), st.sampled_from(Quality), st.sampled_from(Reason), st.sampled_from(Quality),
    st.sampled_from(Reason), st.integers(0, 4095),
)  # fmt: skip
@settings(max_examples=80, deadline=None)
def test_a_reading_reads_back_to_its_row(celsius, source_unix, unit, quality, reason, by_us, why, number):
    reading = Reading("s", "k", celsius, START, source_unix, unit, quality, reason)
    row = with_verdict(row_of(round(START * 1000) << 12 | number, 7, reading), by_us, why)

    class Record:
        plans = staticmethod(lambda _: [])
        series = staticmethod(lambda: {7: ("s", "k")})
        rows = staticmethod(lambda _: [row])

    file = io.StringIO(newline="")
    assert write_readings(Record, None, file) == 1
    head, fields = csv.reader(io.StringIO(file.getvalue(), newline=""))
    assert tuple(head) == COLUMNS
    assert row_of_fields(dict(zip(head, fields, strict=True)), 7) == row


@pytest.mark.parametrize("name", TABLES)
def test_a_table_reads_back_to_its_values(cook, name):
    archive, of = cook
    file = io.StringIO(newline="")
    count = write_table(TABLES[name], archive, of, file)
    actions = archive.actions(of)
    expected = {
        "actions": [(n, type(a)(a.kind, a.subject, a.seconds, a.text)) for n, a in actions],
        "calibrations": [(n, a.calibration) for n, a in actions if a.calibration],
        "vitals": archive.vitals(of), "alarm_log": archive.alarm_log(of), "marks": archive.marks(of),
        "trend": archive.trend(of),
    }[name]  # fmt: skip
    again = list(read_table(TABLES[name], io.StringIO(file.getvalue(), newline="")))
    assert count == len(again) > 0
    assert repr(again) == repr(expected)
    broken = file.getvalue().replace("T", "X", 1) if "T" in file.getvalue() else "x"
    with pytest.raises(ValueError, match="line "):
        list(read_table(TABLES[name], io.StringIO(broken + "a,b\n", newline="")))


def test_sensml_is_what_the_standard_allows_and_plays_to_the_same_values(cook, tmp_path):
    archive, of = cook
    path = tmp_path / "x.sensml"
    with path.open("w", newline="") as file:
        count = write_sensml(archive, of, file)
    rows = [(row[0] >> 12, row[2]) for row in archive.rows(of)]
    assert count == len(rows)
    again = [(round(r.received_unix * 1000), round(r.celsius * 1000)) for r in played_again(path)]
    assert again == [row for row in rows if row[1] is not None]
    records = decode_json(path.read_bytes(), 0.0)
    assert [r.value for r in records if r.value == "no value"] == ["no value"]
    assert {r.unit for r in records if r.name.endswith(":delay")} == {"s"}
    assert any(r.name.endswith(":came") and r.value == "bad not_a_number" for r in records)


def test_names_are_fit_and_no_two_the_same():
    series = {
        1: ("a", "tip 1"),
        2: ("b", "tip 1"),
        3: ("a", "tip_1"),
        4: ("a", "_x"),
        5: ("a", "y:quality"),
        6: ("a", "é"),
    }
    names = legal_names(series)
    assert names == {1: "tip_1", 2: "tip_1-2", 3: "tip_1-3", 4: "p_x", 5: "y:quality_", 6: "p_"}


def test_parquet_has_types_units_and_every_reading(cook, tmp_path, monkeypatch):
    arrow = pytest.importorskip("pyarrow")
    from pyarrow import parquet

    archive, of = cook
    monkeypatch.setattr(parquet_file, "ROWS_AT_A_TIME", 100)
    path = tmp_path / "x.parquet"
    count = parquet_file.write_parquet(archive, of, path)
    table = parquet.read_table(path)
    assert table.num_rows == count == of.readings
    schema = table.schema
    assert schema.field("time").type == arrow.timestamp("ms", tz="UTC")
    assert arrow.types.is_dictionary(schema.field("probe").type)
    assert schema.field("raw_celsius").metadata[b"ucum"] == b"Cel"
    assert schema.metadata[b"cook"] == b"tonight"
    rows = list(archive.rows(of))
    assert [t.value for t in table.column("time")] == [row[0] >> 12 for row in rows]
    assert table.column("raw_celsius").to_pylist() == [None if r[2] is None else r[2] / 1000 for r in rows]
    names = {(p.source, p.key): p.name for p in archive.plans(of)[0][1].probes}
    series = archive.series()
    assert table.column("probe").to_pylist() == [names.get(series[row[1]]) for row in rows]
    with pytest.raises(FileExistsError):
        parquet_file.write_parquet(archive, of, path)


def test_without_pyarrow_it_says_how_to_get_it(cook, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(CollectorError, match=r"pip install 'coldside\[parquet\]'"):
        parquet_file.write_parquet(*cook, tmp_path / "x.parquet")
    assert not (tmp_path / "x.parquet").exists()


def test_a_whole_cook_is_a_file_whose_bytes_depend_on_nothing_else(cook, tmp_path):
    archive, of = cook
    for name in ("a", "b"):
        assert write_cook_file(archive, of, tmp_path / f"{name}.zip") == of.readings
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
    with zipfile.ZipFile(tmp_path / "a.zip") as file:
        assert file.testzip() is None
        document = json.loads(file.read("cook.json"))
        assert set(document) == set(CookDocument.__struct_fields__)
        assert (document["format"], document["version"], document["tags"]) == ("coldside cook", 1, ["oak"])
        assert {*document["files"], "cook.json"} == set(file.namelist())
        for name, digest in document["files"].items():
            assert hashlib.sha256(file.read(name)).hexdigest() == digest
        assert file.read("photos/1.jpg") == JPEG
        assert [e["kind"] for e in document["edits"]] == ["tag", "note", "photo"]


def test_an_export_for_which_there_is_no_room_leaves_no_half(store, tmp_path):
    out = tmp_path / "x.csv"
    words = ["export", "last", "--store", str(store), "-o", str(out)]
    done = subprocess.run(
        ["bash", "-c", 'trap "" XFSZ; ulimit -f 40; exec "$@"', "-", sys.executable, "-m", "tui.cli", *words],
        capture_output=True, text=True, timeout=WAIT_SECONDS,
    )  # fmt: skip
    assert done.returncode == 1, done.stderr
    assert "File too large" in done.stderr
    assert "Traceback" not in done.stderr
    assert not out.exists()


@pytest.mark.parametrize(
    ("field", "written"),
    [
        ("=HYPERLINK(1)", "'=HYPERLINK(1)"), ("@SUM(A1)", "'@SUM(A1)"), ("+cmd", "'+cmd"), ("-x", "'-x"),
        ("\t=1", "'\t=1"),
        ("-12.5", "-12.5"), ("+3", "+3"), ("split", "split"), (-3.5, "-3.5"), ("", ""),
    ],
)  # fmt: skip
def test_for_a_spreadsheet_no_text_is_a_formula_and_numbers_stay(field, written):
    """OWASP, CSV Injection: fields that begin with = + - @, tab or carriage return."""
    file = io.StringIO()
    line_writer(file, for_spreadsheet=True)([field, "end"])
    assert next(csv.reader([file.getvalue()]))[0] == written
    plain = io.StringIO()
    line_writer(plain)([field, "end"])
    assert next(csv.reader([plain.getvalue()]))[0] == str(field), "as it is, where nobody asked"
