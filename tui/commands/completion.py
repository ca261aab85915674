"""`coldside completion`: the script a shell reads to complete our words."""

import argparse
from typing import Any

from tui.exit_codes import Exit

__all__ = ["add_options", "run"]

_BASH = """\
_coldside() {{
    local words
    case "${{COMP_WORDS[1]}}" in
{cases}
        *) words="{commands}" ;;
    esac
    [ "$COMP_CWORD" -eq 1 ] && words="{commands}"
    COMPREPLY=($(compgen -W "$words" -- "${{COMP_WORDS[COMP_CWORD]}}") $(compgen -f -- "${{COMP_WORDS[COMP_CWORD]}}"))
}}
complete -o filenames -F _coldside coldside
"""
_ZSH = """\
#compdef coldside
_coldside() {{
    local -a commands
    commands=({described})
    if (( CURRENT == 2 )); then
        _describe command commands
        return
    fi
    case "$words[2]" in
{cases}
    esac
    _files
}}
compdef _coldside coldside
"""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `completion`."""
    parser.add_argument("shell", choices=("bash", "zsh", "fish"))


def run(options: argparse.Namespace) -> int:
    """Print the script."""
    from tui.cli import COMMANDS, build_parser

    flags = {name: _flags(build_parser(name), name) for name in COMMANDS}
    if options.shell == "bash":
        cases = "\n".join(f'        {name}) words="{" ".join(words)}" ;;' for name, words in flags.items())
        print(_BASH.format(cases=cases, commands=" ".join(COMMANDS)), end="")
    elif options.shell == "zsh":
        described = " ".join(f"'{name}:{says.replace(chr(39), '')}'" for name, says in COMMANDS.items())
        cases = "\n".join(f"        {name}) compadd -- {' '.join(words)} ;;" for name, words in flags.items())
        print(_ZSH.format(described=described, cases=cases), end="")
    else:
        for name, says in COMMANDS.items():
            print(f"complete -c coldside -n __fish_use_subcommand -a {name} -d '{says}'")
            for word in flags[name]:
                if word.startswith("--"):
                    print(f"complete -c coldside -n '__fish_seen_subcommand_from {name}' -l {word[2:]}")
    return Exit.OK


def _flags(parser: argparse.ArgumentParser, name: str) -> list[str]:
    """List the words a command takes: its long options and choices."""
    groups: Any = parser._subparsers
    command: argparse.ArgumentParser = groups._group_actions[0].choices[name]
    words = [o for action in command._actions for o in action.option_strings if o.startswith("--")]
    for action in command._actions:
        words += [str(choice) for choice in action.choices or ()]
    return words
