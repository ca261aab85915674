"""A whole cook that is tampered with: refused with the name of what is wrong, and nothing is left behind."""

import json
import zipfile

import pytest

from collector.errors import IntakeError
from collector.formats.cook_file import write_cook_file
from collector.importing.cook_file import CookFile
from collector.store.archive import Archive


@pytest.fixture(scope="module")
def whole(evening, tmp_path_factory):
    path = tmp_path_factory.mktemp("whole") / "evening.zip"
    with Archive(evening[0]) as archive:
        write_cook_file(archive, archive.cook("last"), path)
    return path


def tampered(whole, path, change):
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(path, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "cook.json":
                document = json.loads(content)
                change(document)
                content = json.dumps(document).encode()
            new.writestr(name, content)
    return path


def put(**fields):
    return lambda document: document.update(fields)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (put(tags=["\x1b[31mred"]), "holds what cannot be printed"),
        (put(tags=["a,b"]), "a comma ends a tag"),
        (put(tags=["x" * 5000]), "a tag has 1 to"),
        (put(notes=[{"time_ms": 1, "text": ""}]), "a note has 1 to"),
        (put(notes=[{"time_ms": 1 << 70, "text": "x"}]), "notes: a time lies beyond"),
        (put(started_ms=-5), "started_ms: a time lies beyond"),
        (put(ended_ms=5), "ended_ms: it ends before it begins"),
    ],
)
def test_what_is_no_text_or_time_is_refused_and_no_store_is_left(whole, tmp_path, change, says):
    with pytest.raises(IntakeError, match=says):
        CookFile(tampered(whole, tmp_path / "t.zip", change)).take_in(tmp_path / "s.db", name="", origin="")
    assert [path.name for path in tmp_path.iterdir()] == ["t.zip"]


def test_a_fault_found_late_leaves_no_store_either(whole, tmp_path):
    def more_photos(document):
        photo = {"file": "photos/1.png", "time_ms": 1, "kind": "png", "name": "a", "text": ""}
        document["photos"] = [photo] * 60

    with pytest.raises(IntakeError, match="photos; at most"):
        CookFile(tampered(whole, tmp_path / "t.zip", more_photos)).take_in(tmp_path / "s.db", name="", origin="")
    assert [path.name for path in tmp_path.iterdir()] == ["t.zip"]
