"""The phone page in a real browser: log in, see the cook, acknowledge, and be told when there is no word."""

import asyncio
import contextlib
import json
import math
import re
import time
from importlib.resources import files

import msgspec
import pytest
from msgspec.structs import replace

from collector import wire
from collector.model.meat.piece import MeatPhase
from collector.page_view import PageViewer
from collector.snapshot import SpotView
from tests.collector.chromium import browser, chromium
from tests.collector.house import serving, tonight
from tests.tui.conftest import NIGHT, part, piece
from tui.draw.colour_scale import THERMAL

needs_chromium = pytest.mark.skipif(chromium() is None, reason="needs a Chromium browser (apt install chromium)")
ALARM = "document.querySelector('#troubles li')"
LEGIBLE = """(() => {
  const rgb = (c) => c.match(/[\\d.]+/g).map(Number);
  const linear = (v) => v <= 10 ? v / 3294 : ((v / 255 + 0.055) / 1.055) ** 2.4;
  const light = (c) => 0.2126 * linear(c[0]) + 0.7152 * linear(c[1]) + 0.0722 * linear(c[2]);
  const ground = (e) => {
    for (; e; e = e.parentElement) {
      const c = rgb(getComputedStyle(e).backgroundColor);
      if (c.length < 4 || c[3] > 0.9) return c;
    }
  };
  let least = [99, ""], smallest = [99, ""];
  for (const e of document.querySelectorAll("body *")) {
    if (!e.getClientRects().length || e.closest(".unseen, script, noscript")) continue;
    if (![...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim())) continue;
    const s = getComputedStyle(e), a = light(rgb(s.color)), b = light(ground(e));
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (ratio < least[0] && !e.closest("svg")) least = [ratio, e.textContent];
    if (parseFloat(s.fontSize) < smallest[0]) smallest = [parseFloat(s.fontSize), e.textContent];
  }
  return [least, smallest];
})()"""
"""The least contrast of a text with its ground (WCAG 2.2, 1.4.3) and the smallest size of one, each with the text."""
THUMB = """(() => {
  const r = document.querySelector("#acknowledge").getBoundingClientRect();
  return [r.height, r.bottom];
})()"""


async def log_in(tab, served, may):
    await tab.looks(360, 740, "dark")
    await tab.go(f"https://127.0.0.1:{served.port}/")
    await tab.until("document.querySelector('#token')")
    await tab.says(f"document.querySelector('#token').value = {served.tokens[may]!r}")
    await tab.says("document.querySelector('form button').click()")
    await tab.until("document.querySelectorAll('#zones li').length === 5")


@contextlib.asynccontextmanager
async def told_by(served):
    """Publish the cook over and over, as the daemon does."""

    async def publish():
        while True:
            served.publish()
            await asyncio.sleep(0.3)

    task = asyncio.create_task(publish())
    yield
    task.cancel()


@needs_chromium
async def test_a_night_on_the_phone(tmp_path):
    async with browser(tmp_path / "profile") as tab:
        async with serving(tmp_path) as served, told_by(served):
            await log_in(tab, served, "act")
            text = await tab.says("document.body.innerText")
            said = ["237 °F", "fading", "flat side", "221 °F", "below the band", "brisket point", "silent for 15 min"]
            said += ["2 zones run cold", "23 °F below its level's mean", "limit 15 °F", "refuel seen"]
            assert not [words for words in said if words not in text]
            await looks_right(tab, tmp_path)
            await shows_a_piece(tab, served, tmp_path)
            await acknowledges(tab)
            await may_only_look(tab, served)
            await log_in_wrong(tab, served)
            await log_in(tab, served, "act")
            await tab.says("document.querySelector('#sound').click()")
            await tab.until("document.querySelector('#sound').getAttribute('aria-pressed') === 'true'")
        port = served.port
        await is_told_of_silence(tab, tmp_path)
        async with serving(tmp_path, port=port) as again, told_by(again):
            await tab.until("document.querySelector('#banner').hidden && socket && opened")
            assert await tab.says("!document.body.classList.contains('old')")
        left = [c for c in tab.complaints if "ERR_CONNECTION" not in c and "ERR_SOCKET" not in c and "401" not in c]
        left = [c for c in left if "WebSocket connection to" not in c]
        assert not left, "neither an error nor a broken policy"


async def looks_right(tab, folder):
    """In the dark and in the light, nothing is small, faint, cut off or out of a thumb's reach."""
    for scheme in ("dark", "light"):
        await tab.looks(360, 740, scheme, folder / f"{scheme}.png")
        assert (folder / f"{scheme}.png").stat().st_size > 10_000
        least, smallest = await tab.says(LEGIBLE)
        assert least[0] >= 4.5, least
        assert smallest[0] >= 14, smallest
    assert await tab.says("document.documentElement.scrollWidth") == 360
    for size in ("16px", "32px"):
        await tab.says(f"document.documentElement.style.fontSize = '{size}'")
        assert await tab.says("document.documentElement.scrollWidth") <= 360, "nothing to the side, with large text too"
        height, bottom = await tab.says(THUMB)
        assert height >= 44
        assert 740 / 2 < bottom <= 740, "under the thumb"
    await tab.says("document.documentElement.style.fontSize = ''")
    assert await tab.says("document.querySelectorAll('#map svg text.number').length") == 7
    assert await tab.says("document.querySelectorAll(\"#map rect[fill='url(#hatch)']\").length") > 0
    assert await tab.says("document.querySelectorAll('#trend path').length") == 5
    assert await tab.says("document.querySelectorAll('#probes tr').length") == 9


async def shows_a_piece(tab, served, folder):
    """A piece with its arrivals at 360 px, in the dark and the light; its phases are told by a thumb."""
    meat = moved(piece())
    spots = (SpotView(meat.since_unix, "spot", "thin end", None, None, 90.0),)
    served.publish(meat=(meat,), spots=spots)
    await tab.until("document.querySelectorAll('#pieces > li').length === 1")
    text = await tab.says("document.querySelector('#meat-section').innerText")
    said = [
        "brisket, cooking since",
        "flat",
        "160 °F",
        "to 203 °F, done ",
        "stalls since",
        "about 2 h sooner",
        "stalled ",
    ]
    said += [
        "about 40 min late",
        "the trade would",
        "within 41–135 °F off the fire, where many codes count 4 h",
        "not the coldest",
    ]
    said += ["thin end", "194 °F", "3.2 of the 6.5 log reductions", "none for 5"]
    assert not [words for words in said if words not in text], text
    assert not await tab.says("document.querySelectorAll('#meat li').length"), "no probe of a piece stands alone too"
    for scheme in ("light", "dark"):
        await tab.looks(360, 740, scheme)
        await tab.says("document.querySelector('#meat-section').scrollIntoView()")
        await tab.looks(360, 740, scheme, folder / f"meat-{scheme}.png")
        least, smallest = await tab.says(LEGIBLE)
        assert least[0] >= 4.5, least
        assert smallest[0] >= 14, smallest
        assert await tab.says("document.documentElement.scrollWidth") == 360
    least = "Math.min(...[...document.querySelectorAll('.phases button')].map((b) => b.getBoundingClientRect().height))"
    assert await tab.says(least) >= 44
    await tab.says("document.querySelector(\".phases button[data-phase='wrapped']\").click()")
    await tab.until("document.querySelector('#pieces [role=status]').textContent === 'Done.'")
    assert served.asked[-1].piece == "brisket"
    assert served.asked[-1].phase is MeatPhase.WRAPPED
    await tab.until("!document.querySelector(\".phases button[data-phase='cooling']\").disabled")
    await tab.says("document.querySelector(\".phases button[data-phase='cooling']\").click()")
    await tab.until("document.querySelector('#pieces [role=status]').textContent === 'Done.'")
    assert served.asked[-1].phase is MeatPhase.COOLING
    forget = "document.querySelector(\".phases button[data-phase='not on yet']\")"
    sent = len(served.asked)
    await tab.says(f"{forget}.click()")
    assert await tab.says(f"{forget}.textContent") == "forget its clocks?"
    assert len(served.asked) == sent, "not before it was asked"
    await tab.says(f"{forget}.click()")
    await tab.until("document.querySelector('#pieces [role=status]').textContent === 'Done.'")
    assert served.asked[-1].phase is MeatPhase.WAITING
    assert await tab.says(f"{forget}.textContent") == "forget"
    cooled = replace(meat, phase="cooling", cooling="appendix-b", cool_due_unix=meat.since_unix, late_seconds=math.inf)
    served.publish(meat=(replace(cooled, did=(("on", meat.since_unix),)),))
    says = "document.querySelector('#pieces > li').innerText"
    await tab.until(f"{says}.includes('it will not come in time at this air')")
    text = await tab.says(says)
    assert "by USDA FSIS Appendix B: 130 to 80 °F within 1.5 h, to 40 °F within 5 h more; other limits exist" in text
    assert ": on " in text
    served.publish(meat=(meat,), spots=spots)
    await tab.until(f"{says}.includes('wrap by')")
    await tab.says("""turned.set('brisket', {number: 99, at: Date.now(), said: ''});
        socket.send(JSON.stringify({do: 'turn', number: 99, piece: 'ham', phase: 'wrapped'}))""")
    await tab.until("document.querySelector('#pieces [role=status]').textContent.includes('there is no such piece')")


def moved(meat):
    """Put the times of a piece to now."""
    shift = time.time() - NIGHT
    ahead = (*(f"{w}_unix" for w in ("low", "median", "high")),)

    def later(view, names):
        return replace(view, **{n: getattr(view, n) + shift for n in names if getattr(view, n) is not None})

    parts = tuple(
        later(
            replace(p, wrap=later(p.wrap, ahead), done=later(p.done, ahead), ahead=()),
            ("stall_began_unix", "stall_ended_unix"),
        )
        for p in meat.parts
    )
    plan = tuple((step, unix + shift) for step, unix in meat.plan)
    moved = replace(meat, parts=parts, plan=plan, done=later(meat.done, ahead))
    return later(moved, ("since_unix", "on_unix", "serve_unix"))


async def acknowledges(tab):
    assert await tab.says(f"{ALARM}.classList.contains('calls')")
    await tab.says("document.querySelector('#acknowledge').click()")
    await tab.until(f"!{ALARM}.classList.contains('calls')")
    assert "acknowledged" in await tab.says(f"{ALARM}.innerText")
    assert "Done." in await tab.says(f"{ALARM}.innerText")
    assert await tab.says("document.querySelector('#acknowledge').hidden")


async def may_only_look(tab, served):
    served.publish(troubles=tonight().troubles)
    await log_out(tab)
    await log_in(tab, served, "look")
    assert "Acknowledge" not in await tab.says("document.body.innerText")
    await tab.says("acknowledge('cold')")
    await tab.until(f"{ALARM}.innerText.includes('may only look')")
    assert await tab.says("document.querySelector('.phases').hidden")
    await tab.says("turn('brisket', 'off')")
    await tab.until("document.querySelector('#pieces [role=status]').textContent.includes('may only look')")
    assert served.asked[-1] != wire.TurnMeat(served.asked[-1].number, "brisket", MeatPhase.OFF)
    await log_out(tab)


async def log_out(tab):
    await tab.says("document.querySelector('form button').click()")
    await tab.until("document.querySelector('#token')")


async def log_in_wrong(tab, served):
    await tab.says("document.querySelector('#token').value = 'not-a-token'; document.forms[0].submit()")
    await tab.until("document.body.innerText.includes('not known here')")
    assert "not-a-token" not in await tab.says("location.href")


async def is_told_of_silence(tab, folder):
    """The collector is gone: said after ten seconds, and loudly after a minute; the page's clock is put forward."""
    await tab.says("wordAt -= 9000")
    await tab.until("!document.querySelector('#banner').hidden")
    assert re.match(r"NO WORD FOR \d+ s", await tab.says("document.querySelector('#banner').innerText"))
    await tab.looks(360, 740, "dark", folder / "silent.png")
    await tab.says("WOKEN = Number(document.body.dataset.woken || 0)")
    await asyncio.sleep(1.2)
    assert await tab.says("Number(document.body.dataset.woken || 0) === WOKEN"), "not for ten seconds"
    await tab.says("wordAt -= 55000; soundedAt = 0")
    await tab.until("Number(document.body.dataset.woken) > WOKEN")
    assert "NO WORD FOR 1 min" in await tab.says("document.querySelector('#banner').innerText")


def test_the_page_has_the_same_colours_as_the_terminal():
    script = files("collector").joinpath("page", "page.js").read_text(encoding="utf-8")
    assert re.findall(r"\b[0-9a-f]{6}\b", script) == THERMAL.split()


def test_a_pit_with_the_fire_on_the_right_is_drawn_so():
    cook = tonight()
    left = PageViewer().view(cook)
    turned = PageViewer().view(replace(cook, chamber=replace(cook.chamber, fire_side="right")))
    assert [row[::-1] for row in turned.map.mean] == list(left.map.mean)
    there, here = ([p.x for p in view.probes if p.x is not None] for view in (turned, left))
    assert there == pytest.approx([1.0 - x for x in here])


def test_a_cook_that_knows_nothing_yet_can_be_shown():
    cook = replace(tonight(), fields=(), zones=(), probes=(), troubles=(), marks=())
    assert b'"map":null' in msgspec.json.encode(PageViewer().view(cook))


def test_what_is_not_known_of_a_piece_travels_as_null():
    unknown = part("flat", math.nan, math.inf, log_reduction=math.nan, danger_off_fire_seconds=math.nan)
    strange = piece(parts=(unknown,), late_seconds=math.inf)
    view = json.loads(msgspec.json.encode(PageViewer().view(replace(tonight(), meat=(strange,)))))
    (meat,) = view["meat"]
    assert meat["late_seconds"] is None
    assert meat["lateness"] == "never"
    assert meat["danger_seconds"] is None
    assert meat["log_reduction"] is None
    assert meat["parts"][0]["celsius"] is None
    assert meat["parts"][0]["done"]["median_unix"] is None
    assert meat["caution"].startswith("A probe is not the coldest point")
