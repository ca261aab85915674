"""`coldside paths`: where things are."""

import argparse
import json

from tui.commands.options import add_config, add_json, add_pits, add_socket, add_store, named_store
from tui.exit_codes import Exit

__all__ = ["add_options", "run"]


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `paths`."""
    add_config(parser)
    add_store(parser)
    add_socket(parser)
    add_pits(parser)
    add_json(parser)


def run(options: argparse.Namespace) -> int:
    """Print the places."""
    from collector.paths import config_file, pits_file, runtime_socket, sessions_file, store_file, tokens_file

    store = store_file(named_store(options))
    places = {
        "config": config_file(options.config),
        "store": store,
        "pits": pits_file(options.pits),
        "socket": runtime_socket(options.socket),
        "tokens": tokens_file(store),
        "sessions": sessions_file(store),
    }
    if options.json:
        print(json.dumps({"schema": 1, **{k: {"path": str(p), "exists": p.exists()} for k, p in places.items()}}))
    else:
        for name, path in places.items():
            print(f"{name:10}{path}{'' if path.exists() else '   (not there yet)'}")
    return Exit.OK
