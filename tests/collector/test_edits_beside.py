"""A collector that goes on recording while its record is edited, by command."""

import asyncio
import json

from collector.replay import differences
from collector.store.archive import Archive
from collector.store.upkeep import check
from tests.collector.stores import HOUR, START, cook_one, strays
from tui.cli import main


async def test_a_collector_goes_on_while_cooks_before_are_tagged_split_merged_and_deleted(
    collecting, pit_config, capsys
):
    running = collecting(pit_config(1), extra=["--cook", "tonight"])
    for k, name in enumerate(("first", "second", "third")):
        cook_one(running.store, name, START + k * 20 * HOUR)
    running.start()
    await running.snapshot_when(lambda s: s.cook == "tonight")

    def edit(*words):
        code = main([*words, "--store", str(running.store)])
        return code, "".join(capsys.readouterr())

    def edits():
        for words in (
            ["cook", "tag", "tonight", "oak"], ["cook", "note", "tonight", "windy"], ["cook", "tag", "first", "ash"],
            ["cook", "rename", "first", "the first"], ["cook", "split", "third", "--at", "2026-02-03T18:50:00Z"],
            ["cook", "delete", "second", "--yes"], ["cook", "merge", "third-2", "third"],
        ):  # fmt: skip
            assert edit(*words)[0] == 0, words
        for what in (["rename", "tonight", "x"], ["delete", "tonight", "--yes"], ["split", "tonight", "--at", "00:00"],
                     ["merge", "third", "tonight"]):  # fmt: skip
            code, said = edit("cook", *what)
            assert code == 1
            assert "goes on" in said or "not within the cook" in said
        code, said = edit("cook", "end", "tonight")
        assert (code, "another collector is writing here" in said) == (74, True)

    await asyncio.to_thread(edits)
    assert await asyncio.to_thread(running.stop) == 0
    assert "does not take readings" not in (running.folder / "log").read_text()
    with Archive(running.store) as a:
        assert [c.name for c in a.cooks()] == ["the first", "third", "tonight"]
        assert a.cook("tonight").tags == ("oak",)
        for cook in a.cooks():
            assert differences(a, cook) == []
    assert (check(running.store).complaints, strays(running.store)) == ((), 0)


def test_what_is_asked_of_cooks_is_told(tmp_path, capsys):
    store = tmp_path / "cooks.db"
    for k, name in enumerate(("first", "a cook with a name that is long, and longer")):
        cook_one(store, name, START + k * 20 * HOUR, seconds=60)

    def ask(*words):
        code = main([*words, "--store", str(store)])
        said = capsys.readouterr()
        return code, said.out, said.err

    picture = tmp_path / "bark.png"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n and so on")
    ask("cook", "tag", "first", "hickory", "wet wood", "new grate", "the neighbour's brisket")
    ask("cook", "note", "first", "The wind turned")
    assert ask("cook", "photo", "first", str(picture), "--text", "bark")[1] == (
        "first: photo 1, a PNG of 18 bytes\n"
    )  # fmt: skip
    code, out, _ = ask("cooks")
    assert code == 0
    assert all(len(line) <= 80 for line in out.splitlines()), out
    assert out.index("first") < out.index("a cook with")
    assert "hickory, new grate, the neighbour's brisket, wet wood" in out

    def found(*words):
        return [cook["name"] for cook in json.loads(ask("cooks", "--json", *words)[1])["cooks"]]

    long = "a cook with a name that is long, and longer"
    assert found() == ["first", long]
    assert found("WIND", "turned") == ["first"], "in notes"
    assert found("of first") == ["first"], "in marks"
    assert found("longer") == [long]
    assert found("wind", "longer") == []
    assert found("--tag", "Hickory", "--tag", "wet wood") == ["first"]
    assert found("--since", "2026-02-02T00:00Z") == ["first", long]
    assert found("--since", "2026-02-03T00:00Z") == []
    assert found("--until", "2026-02-02T02:00Z") == []
    assert ask("cooks", "nothing")[1] == "no cook is like that\n"
    code, out, _ = ask("cook", "show", "first")
    assert code == 0
    for word in ("The wind turned", "bark.png, 18 bytes  bark", "tags: hickory", "tag of first: hickory", "split oak"):
        assert word in out
    document = json.loads(ask("cook", "show", "first", "--json")[1])
    assert document["cook"]["tags"] == ["hickory", "new grate", "the neighbour's brisket", "wet wood"]
    assert [edit["kind"] for edit in document["edits"]] == ["tag"] * 4 + ["note", "photo"]
    copy = tmp_path / "copy.png"
    assert ask("cook", "show", "first", "--photo", "1", "-o", str(copy))[0] == 0
    assert copy.read_bytes() == picture.read_bytes()
    assert ask("cook", "show", "first", "--photo", "1", "-o", str(copy))[0] == 1, "nothing is written over"
    assert (
        "no photo 2 of the cook 'first'; it has 1"
        in ask("cook", "show", "first", "--photo", "2", "-o", str(tmp_path / "x"))[2]
    )
    code, _, said = ask("cook", "delete", "first")
    assert (code, "1 note, 1 photo would go for good; say --yes" in said) == (2, True)
    assert main(["cook", "tag", "x", "y", "--store", "postgresql://a@b/c"]) == 1
    assert "do this on the pit's machine" in capsys.readouterr().err
