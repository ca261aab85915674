"""`coldside check`: every mistake of a config at once."""

import argparse
import json

from tui.commands.options import add_config, add_json, load_settings
from tui.exit_codes import Exit

__all__ = ["add_options", "run"]


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `check`."""
    add_config(parser)
    add_json(parser)


def run(options: argparse.Namespace) -> int:
    """Check the config; print what it holds, or what is wrong with it."""
    from collector.errors import SettingsError
    from collector.sources import playback_speed

    try:
        settings = load_settings(options)
        playback_speed(settings)
    except SettingsError as error:
        if not options.json:
            raise
        problems = [{"line": p.line, "key": p.key, "what": p.what} for p in error.problems]
        print(json.dumps({"schema": 1, "file": str(error.path), "ok": False, "problems": problems}))
        return Exit.CONFIG
    plan = settings.plan
    if options.json:
        document = {
            "schema": 1, "file": str(settings.path), "ok": True, "warnings": list(settings.warnings),
            "sources": len(settings.config.source), "probes": len(plan.probes), "zones": len(plan.zones),
        }  # fmt: skip
        print(json.dumps(document))
        return Exit.OK
    print(f"{settings.path}: all right")
    counts = ((len(settings.config.source), "source"), (len(plan.probes), "probe"), (len(plan.zones), "zone"))
    print("  " + ", ".join(f"{count} {noun}{'' if count == 1 else 's'}" for count, noun in counts))
    for zone in plan.zones:
        held = [p.name for p in plan.probes if zone.holds(p)]
        print(f"  zone {zone.name} ({zone.level}): {', '.join(held) or 'no probe: read from the map alone'}")
    for warning in settings.warnings:
        print(f"  warning: {warning}")
    return Exit.OK
