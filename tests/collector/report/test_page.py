"""The page in a real browser: on a phone, at a desk, in the dark and on paper."""

import asyncio
import datetime as dt
import re

import pytest

from collector.report.facts import tell
from collector.report.page import page_of
from collector.report.picture import picture_sketch
from collector.report.sheets import pdf_of
from collector.report.style import WIDE, png_of
from collector.report.wording import Words
from tests.collector.chromium import browser, chromium
from tests.collector.test_page import LEGIBLE
from tests.evening import HOUR, START

needs_chromium = pytest.mark.skipif(chromium() is None, reason="needs a Chromium browser (apt install chromium)")
WORDS = Words(True, dt.UTC)
TEXT_IN_CHARTS = """(() => {
  let least = 99;
  for (const t of document.querySelectorAll("svg.chart text")) {
    const r = t.getBoundingClientRect();
    if (r.height && t.textContent.trim()) least = Math.min(least, r.height);
  }
  return least;
})()"""
CUT = """[...document.querySelectorAll("svg.chart")].filter((s) => s.getClientRects().length).flatMap((s) => {
  const box = s.getBoundingClientRect();
  return [...s.querySelectorAll("text")].filter((t) => {
    const r = t.getBoundingClientRect();
    return r.left < box.left - 1 || r.right > box.right + 1 || r.top < box.top - 1 || r.bottom > box.bottom + 1;
  }).map((t) => t.textContent);
})"""


@pytest.fixture(scope="module")
def page(told):
    return page_of(told, WORDS)


def test_the_page_is_one_file_that_fetches_nothing_and_runs_nothing(page):
    text = page.decode()
    assert "<script" not in text
    assert "default-src 'none'" in text
    urls = set(re.findall(r"""(?:href|src)="([^"#][^"]*)""", text))
    assert all(url.startswith("data:image/png;base64,") for url in urls)
    assert not re.search(r"url\((?!#)", text)
    assert "@import" not in text


def test_every_chart_has_words_and_every_id_is_its_own(page, told):
    text = page.decode()
    charts = re.findall(r"<svg [^>]*>.*?</svg>", text, re.DOTALL)
    assert len(charts) == 2 * 2 + len(told.drawn.maps) + 2, "picture and evenness for two widths, maps, survey, by hand"
    for chart in charts:
        assert 'role="img"' in chart
        said = re.search(r"<title [^>]*>(.+?)</title><desc [^>]*>(.+?)</desc>", chart, re.DOTALL)
        assert said is not None
        assert re.search(r"\d", said[2]), "in numbers"
    ids = re.findall(r'\bid="([^"]+)"', text)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r"url\(#([^)]+)\)", text)) <= set(ids)
    assert set(re.findall(r'aria-labelledby="([^"]+)"', text)) and all(
        one in ids for found in re.findall(r'aria-labelledby="([^"]+)"', text) for one in found.split()
    )


def test_the_page_says_what_it_must(page):
    text = page.decode()
    for said in (
        "IEC 60068-3-5", "Uniformity survey", "Recovery after lid openings", "Fuel and rhythm", "how long each waited",
        "Milestones against their forecasts", "Probe health", "Gaps in the data", "Bread test", "Variation in space",
        "No number here is a permission to serve", "licenses you decide", "2.1 kg", "the collector was away",
    ):  # fmt: skip
        assert said in text, said


def test_the_same_cook_gives_the_same_bytes(evening, page, told):
    assert page_of(told, WORDS) == page
    short = tell(evening[1], at_unix=[START + 2 * HOUR])
    pdf = pdf_of(short, WORDS)
    assert len(re.findall(rb"/Type /Page\b", pdf)) >= 3
    assert b"CreationDate" not in pdf
    picture = picture_sketch(short, WORDS, WIDE, "evening")
    assert png_of(picture, 50) == png_of(picture, 50)


@needs_chromium
async def test_phone_desk_dark_and_paper(tmp_path, page):
    file = tmp_path / "evening.html"
    file.write_bytes(page)
    async with browser(tmp_path / "profile") as tab:
        await tab.does("Network.enable")
        for width, height, scheme in ((360, 740, "light"), (360, 740, "dark"), (1000, 800, "light")):
            await tab.looks(width, height, scheme)
            await tab.go(file.as_uri())
            await tab.until("document.readyState === 'complete' && document.querySelector('footer')")
            assert await tab.says("document.documentElement.scrollWidth") <= width, "nothing to the side"
            (contrast, of), (smallest, at) = await tab.says(LEGIBLE)
            assert contrast >= 4.5, of
            assert smallest >= 7.0, at
            assert await tab.says(TEXT_IN_CHARTS) >= 9.0, "pixels"
            assert await tab.says(CUT) == []
        narrow = await tab.says("getComputedStyle(document.querySelector('figure .narrow')).display")
        assert narrow == "none", "the wide picture stands at a desk"
        assert (
            await tab.says("performance.getEntriesByType('resource').filter((e) => !e.name.startsWith('data:')).length")
            == 0
        )
        said = await tab.does("Page.printToPDF", paperWidth=8.27, paperHeight=11.69)
        assert len(said["data"]) > 50_000
        await tab.does("Emulation.setEmulatedMedia", media="print")
        await tab.does("Emulation.setDeviceMetricsOverride", width=703, height=1000, deviceScaleFactor=1, mobile=False)
        await asyncio.sleep(0.1)
        assert await tab.says("document.documentElement.scrollWidth") <= 703, "A4 less its margins"
        assert await tab.says("getComputedStyle(document.querySelector('nav')).display") == "none"
        assert tab.complaints == []
