"""How tests wait for what must happen."""

import asyncio

WAIT_SECONDS = 120.0
"""The longest wait for what must happen, however slow the machine is; it only ends a test that would hang."""


async def until(ready, *, every_seconds=0.01):
    """Wait until a condition holds."""
    async with asyncio.timeout(WAIT_SECONDS):
        while not ready():
            await asyncio.sleep(every_seconds)
