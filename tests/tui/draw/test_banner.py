from datetime import UTC

import pytest
from msgspec.structs import replace

from collector.snapshot import StoreView
from tui.draw.banner import Standing, trouble
from tui.draw.view import View

NOW = 1_700_000_000.0
VIEW = View()
SAFE = StoreView("cook.db", 16, NOW - 4.0, "")
WELL = Standing(
    NOW, True, True, NOW - 100.0, news_seconds=0.8, news_unix=NOW - 0.8, store=SAFE, cook_now_unix=NOW
)  # fmt: skip


def test_all_is_well():
    assert trouble(WELL, VIEW) is None


def test_news_a_little_late_is_no_trouble_but_more_than_five_seconds_is():
    assert trouble(replace(WELL, news_seconds=5.0), VIEW) is None
    stale = trouble(replace(WELL, news_seconds=5.5, news_unix=NOW - 5.5), VIEW)
    assert stale is not None
    assert stale.headline.startswith("STALE since ")
    assert (stale.role, stale.old) == ("alarm", True)


def test_a_lost_link_says_since_when_and_why():
    found = trouble(replace(WELL, up=False, since_unix=NOW - 60.0, news_unix=NOW - 61.0, why="it closed"), VIEW)
    assert found is not None
    assert found.headline.startswith("LOST the collector since ")
    assert "it closed" in found.meaning
    assert "1 min old" in found.meaning
    assert (found.role, found.old) == ("alarm", True)


@pytest.mark.parametrize("up", [False, True])
def test_beside_a_cook_that_is_played_no_clock_on_the_wall_is_told(up):
    found = trouble(
        replace(WELL, up=up, played=True, since_unix=NOW - 60.0, news_unix=NOW - 61.0, news_seconds=61.0), VIEW
    )
    assert found is not None
    assert found.headline in ("LOST the collector", "STALE")
    assert "1 min" in found.meaning


def test_a_collector_never_met_is_waited_for():
    found = trouble(replace(WELL, up=False, ever_up=False, news_seconds=None, why="no collector at x"), VIEW)
    assert found is not None
    assert found.headline == "NO COLLECTOR"
    assert "no collector at x" in found.meaning


def test_a_collector_that_is_just_being_asked_is_not_missing_yet():
    asked = replace(WELL, up=False, ever_up=False, news_seconds=None, since_unix=NOW - 1.0)
    found, later = trouble(asked, VIEW), trouble(replace(asked, since_unix=NOW - 9.0), VIEW)
    assert found is not None
    assert later is not None
    assert (found.headline, found.role, found.old) == ("CONNECTING", "warn", True)
    assert later.headline == "NO COLLECTOR"


def test_a_link_without_news_is_not_all_well():
    young = trouble(replace(WELL, news_seconds=None, since_unix=NOW - 1.0), VIEW)
    late = trouble(replace(WELL, news_seconds=None, since_unix=NOW - 9.0), VIEW)
    assert young is not None
    assert late is not None
    assert young.old
    assert late.headline == "NO NEWS"


@pytest.mark.parametrize(
    ("store", "told"),
    [
        (StoreView("x", 900, NOW - 4.0, "disk full"), "disk full"),
        (StoreView("x", 900, NOW - 300.0, ""), "5 min ago"),
    ],
)
def test_unsaved_readings_are_told_while_the_values_stay_bright(store, told):
    found = trouble(replace(WELL, store=store), VIEW)
    assert found is not None
    assert found.headline == "NOT SAVED"
    assert told in found.meaning
    assert (found.role, found.old) == ("alarm", False)


def test_a_throwaway_store_may_lag():
    lagging = StoreView("x", 900, NOW - 300.0, "", throwaway=True)
    assert trouble(replace(WELL, store=lagging), VIEW) is None


def test_a_lost_link_covers_a_pause_and_a_fault():
    both = replace(WELL, up=False, paused_unix=NOW, store=replace(SAFE, fault="disk full"))
    found = trouble(both, VIEW)
    assert found is not None
    assert found.headline.startswith("LOST")


def test_a_pause_says_how_old_the_picture_is():
    found = trouble(replace(WELL, now_unix=NOW + 1e6, paused_unix=NOW - 120.0), View(zone=UTC))
    assert found is not None
    assert found.headline == "PAUSED at 22:11:20", "by the clock of the cook"
    assert "2 min old" in found.meaning


def test_a_refused_version_says_what_to_do():
    found = trouble(replace(WELL, refused="install the same"), VIEW)
    assert found is not None
    assert found.meaning == "install the same"
    assert found.old
