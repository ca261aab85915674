"""A collector and its dashboard in one process: the demo and the rehearsal."""

import asyncio
from typing import TYPE_CHECKING, Any

from tui.exit_codes import Exit

if TYPE_CHECKING:
    from collector.daemon import Collector

__all__ = ["show_while_running"]


async def show_while_running(collector: "Collector", look: dict[str, Any]) -> int:
    """Run both until the dashboard is closed; the collector's own failure is raised."""
    from tui.app import run_dashboard
    from tui.client import CollectorClient

    running = asyncio.create_task(collector.run(), name="collector")
    ready = asyncio.create_task(collector.ready.wait(), name="ready")
    await asyncio.wait({running, ready}, return_when=asyncio.FIRST_COMPLETED)
    try:
        if not running.done():
            await run_dashboard(CollectorClient(collector.socket), **look)
    finally:
        ready.cancel()
        collector.stop()
        await running
    return Exit.OK
