"""`coldside completion`: the script a shell reads to complete our words."""

import argparse

from tui.exit_codes import Exit

__all__ = ["add_options", "run"]


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `completion`."""
    parser.add_argument("shell", choices=("bash", "zsh", "fish", "tcsh"))


def run(options: argparse.Namespace) -> int:
    """Print the script."""
    import shtab

    from tui.cli import build_parser

    print(shtab.complete(build_parser(), options.shell))
    return Exit.OK
