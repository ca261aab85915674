"""A collector and its dashboard in one process: the demo and the rehearsal."""

import asyncio
from typing import TYPE_CHECKING, Any

from tui.commands.signals import until_signalled

if TYPE_CHECKING:
    from collector.daemon import Collector

__all__ = ["show_while_running"]


async def show_while_running(collector: "Collector", look: dict[str, Any]) -> int:
    """Run both until the dashboard is closed or a signal ends it; the collector's own failure is raised.

    Returns:
        The exit code.
    """
    return await until_signalled(_show(collector, look))


async def _show(collector: "Collector", look: dict[str, Any]) -> None:
    from tui.app import run_dashboard
    from tui.client import CollectorClient

    running = asyncio.create_task(collector.run(), name="collector")
    ready = asyncio.create_task(collector.ready.wait(), name="ready")
    try:
        await asyncio.wait({running, ready}, return_when=asyncio.FIRST_COMPLETED)
        if not running.done():
            await run_dashboard(CollectorClient(collector.socket), **look)
    finally:
        ready.cancel()
        collector.stop()
        await running
