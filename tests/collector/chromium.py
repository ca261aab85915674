"""A real browser without a window, driven through its DevTools protocol."""

import asyncio
import base64
import contextlib
import itertools
import json
import shutil
import subprocess

import aiohttp

from tests.waiting import WAIT_SECONDS

WAYS = ("chromium", "chromium-browser", "google-chrome")


def chromium():
    """Find a browser; None where none is installed."""
    return next((found for found in map(shutil.which, WAYS) if found), None)


class Tab:
    """One page."""

    def __init__(self, channel):
        self._channel = channel
        self._numbers = itertools.count(1)
        self._waiting = {}
        self.complaints = []
        """What the page's console says of errors and of a broken policy."""
        self._task = asyncio.create_task(self._listen())

    async def _listen(self):
        async for message in self._channel:
            said = json.loads(message.data)
            if "id" in said:
                waiting = self._waiting.pop(said["id"], None)
                if waiting is not None and not waiting.done():
                    waiting.set_result(said)
            elif said["method"] == "Runtime.exceptionThrown":
                self.complaints.append(str(said["params"]["exceptionDetails"]))
            elif said["method"] == "Log.entryAdded":
                self.complaints.append(said["params"]["entry"]["text"])

    async def does(self, method, **params):
        number = next(self._numbers)
        self._waiting[number] = asyncio.get_running_loop().create_future()
        await self._channel.send_str(json.dumps({"id": number, "method": method, "params": params}))
        async with asyncio.timeout(WAIT_SECONDS):
            said = await self._waiting[number]
        assert "error" not in said, said
        return said["result"]

    async def says(self, code):
        """Give what an expression is worth in the page."""
        said = await self.does(
            "Runtime.evaluate", expression=code, awaitPromise=True, returnByValue=True, userGesture=True
        )
        assert "exceptionDetails" not in said, said
        return said["result"].get("value")

    async def until(self, code):
        """Wait until an expression is true; what the page does meanwhile may make it fail."""
        try:
            async with asyncio.timeout(WAIT_SECONDS):
                while True:
                    with contextlib.suppress(AssertionError):
                        if found := await self.says(f"Boolean({code})"):
                            return found
                    await asyncio.sleep(0.05)
        except TimeoutError:
            text = await self.says("document.body.innerText")
            raise AssertionError(f"it did not come to {code}\n{text}\n{self.complaints}") from None

    async def go(self, url):
        await self.does("Page.navigate", url=url)

    async def looks(self, width, height, scheme, file=None, whole=False):
        """Be a phone of this size and taste; keep a picture of it."""
        await self.does(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=True
        )
        await self.does("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": scheme}])
        if file is not None:
            await asyncio.sleep(0.2)
            shot = await self.does("Page.captureScreenshot", format="png", captureBeyondViewport=whole)
            file.write_bytes(base64.b64decode(shot["data"]))


@contextlib.asynccontextmanager
async def browser(folder):
    """Start a browser with a profile of its own and give its tab."""
    words = [
        chromium(), "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--mute-audio",
        "--ignore-certificate-errors", "--remote-debugging-port=0", f"--user-data-dir={folder}", "--no-first-run",
        "--disable-background-networking", "--disable-component-update", "--disable-extensions", "--disable-sync",
        "--autoplay-policy=no-user-gesture-required", "about:blank",
    ]  # fmt: skip
    process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        port = folder / "DevToolsActivePort"
        async with asyncio.timeout(WAIT_SECONDS):
            while not port.exists() or len(port.read_text().split()) < 2:
                await asyncio.sleep(0.05)
        at = f"http://127.0.0.1:{port.read_text().split()[0]}"
        async with aiohttp.ClientSession() as session:
            async with session.get(f"{at}/json") as answer:
                page = next(t for t in await answer.json() if t["type"] == "page")
            async with session.ws_connect(page["webSocketDebuggerUrl"], max_msg_size=0) as channel:
                tab = Tab(channel)
                for domain in ("Page", "Runtime", "Log"):
                    await tab.does(f"{domain}.enable")
                yield tab
                tab._task.cancel()
    finally:
        process.terminate()
        process.wait(WAIT_SECONDS)
