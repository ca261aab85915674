"""Several pits in one line: what it says, that it fits, what gives way first, and which pit comes first."""

import pytest
from msgspec.structs import replace

from collector.snapshot import AlarmState, Priority
from tui.draw.banner import Trouble
from tui.draw.line import plain, width
from tui.draw.pits import PitGlance, Rank, alarm_line, first_in_trouble, pit_rank, strip
from tui.draw.view import View

C, F, ASCII = View(), View(fahrenheit=True), View(ascii_only=True)
LOST = Trouble("LOST the collector since 02:14:09", "it closed", "alarm", old=True, short="NO LINK")
STALE = Trouble("STALE since 02:14:09", "nothing new", "alarm", old=True, short="STALE")
AWAY = Trouble("NO COLLECTOR", "no answer yet", "warn", old=True, short="NO LINK")
PAUSED = Trouble("PAUSED at 02:14:09", "the picture is old", "warn", old=False)


@pytest.fixture
def pits(night, alarm):
    """Six pits, each in another state; the second is well."""
    return (
        PitGlance("north", night(), None),
        PitGlance("south", night(alarms=()), PAUSED),
        PitGlance("garden", night(alarms=()), LOST),
        PitGlance("west", None, AWAY),
        PitGlance("east smoker", night(alarms=(alarm("drift/fading fire", AlarmState.ACKNOWLEDGED),)), None),
        PitGlance("old one", night(alarms=(alarm("drift/fading fire", priority=Priority.SOON),)), None),
    )


def test_every_pit_is_named_with_its_state_its_grate_and_which_is_shown(pits):
    assert plain(strip(pits[:2], 0, F, 80).line) == "[1 north: 1 URGENT, 237 °F]  2 south: all well, 237 °F "
    assert (
        plain(strip(pits[:3], 1, C, 80).line)
        == " 1 north: 1 URGENT, 114 °C  [2 south: all well, 114 °C]  3 garden: NO LINK "
    )
    states = plain(strip(pits, 2, C, 160).line)
    for words in ("1 URGENT", "all well", "NO LINK", "1 seen", "1 CHECK", "[3 garden"):
        assert words in states
    stale = replace(pits[0], trouble=STALE)
    assert "1 north: STALE, 1 URGENT " in plain(strip((stale, pits[1]), 1, C, 80).line), "an old temperature is none"


@pytest.mark.parametrize("view", [C, F, ASCII])
@pytest.mark.parametrize("cells", [34, 40, 80, 110, 160])
def test_it_fits_whatever_the_width_and_names_the_one_shown(pits, view, cells):
    names = [f"{'long ' * (k % 3)}name {k}" for k in range(14)]
    many = tuple(replace(pits[k % 6], name=name) for k, name in enumerate(names))
    for count in (2, 3, 6, 14):
        for shown in range(count):
            drawn = strip(many[:count], shown, view, cells)
            text = plain(drawn.line)
            assert width(drawn.line) <= cells
            assert text.isascii() or not view.ascii_only
            inside = text[text.index("[") + 1 : text.index("]")].split()
            assert inside[0] == str(shown + 1)
            for start, stop, index in drawn.cells:
                assert text[start:stop].strip("[ ").split()[0] == str(index + 1)


def test_six_pits_at_eighty_columns_are_all_there_and_more_are_folded_with_their_worst_state(pits):
    text = plain(strip(pits, 1, C, 80).line)
    for words in ("1 nor", "URG", "[2 sou", "ok]", "3 gar", "LOST", "4 west", "5 eas", "seen", "6 old", "CHK"):
        assert words in text
    well = tuple(replace(pits[1], name=f"pit {k}") for k in range(12))
    many = (*well[:11], replace(pits[2], name="pit 11"))
    folded = plain(strip(many, 0, ASCII, 80).line)
    assert folded.startswith("[ 1 pit")
    assert "LOST" in folded.rpartition("+")[2], "no trouble is folded out of sight"


def test_a_click_finds_its_pit(pits):
    drawn = strip(pits[:3], 1, C, 80)
    text = plain(drawn.line)
    assert drawn.pit_at(text.index("garden")) == 2
    assert drawn.pit_at(text.index("[2")) == 1
    assert drawn.pit_at(79) is None


def test_the_one_in_worst_trouble_comes_first_and_of_equals_the_one_looked_at(pits):
    north, south, garden, west, east, old = pits
    assert [pit_rank(p) for p in pits] == [Rank.URGENT, Rank.WELL, Rank.LOST, Rank.AWAY, Rank.SEEN, Rank.CHECK]
    assert first_in_trouble((south, garden, old, north), 0) == 3
    assert first_in_trouble((south, west, garden, old), 1) == 2
    assert first_in_trouble((north, south, north), 2) == 2
    assert first_in_trouble((west, south), 0) == 1, "what may not be lit tonight is no trouble"
    assert first_in_trouble((east, north, south, north), 0) == 1


@pytest.mark.parametrize("cells", [60, 80, 160])
def test_the_alarm_line_is_of_the_pit_shown_unless_another_is_worse_off(pits, cells):
    north, south, garden, west, east, old = pits

    def line(told, shown):
        return plain(alarm_line(told, shown, C, cells))

    assert line((north, old), 0).startswith(" stack end is cold")
    assert line((south, old, north), 0).startswith(" north: stack end is cold, 99 °C")
    assert line((old, north), 0).startswith(" north: stack end")
    assert line((south, garden), 0).startswith(" garden: LOST the collector since 02:14:09")
    assert line((south, east), 0) == " no alarm", "what somebody has seen at another pit is not said here"
    assert all(len(line(pits, shown)) <= cells for shown in (0, 1, 2, 4, 5))
    assert line((south, west), 0) == " no alarm"
    assert line((replace(south, snapshot=None), replace(south, name="x")), 0) == ""
