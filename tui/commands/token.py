"""`coldside token`: who may look or act from another machine, and the certificate to do it with."""

import argparse
import json
import os
import shlex
import sys
import time
from pathlib import Path

from tui.commands.options import add_config, add_json, add_store, load_settings, text
from tui.exit_codes import Exit

__all__ = ["add_options", "run"]

DAY = 86400.0


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `token` and what it can do."""
    what = parser.add_subparsers(dest="what", metavar="WHAT", required=True)
    add = _sub(what, "add", "make a token and show it, once")
    add.add_argument("name", type=text, metavar="NAME", help="whose it is: phone, kitchen")
    add.add_argument("--may", choices=("look", "act"), required=True, help="look: see; act: also acknowledge and mark")
    add.add_argument("--days", type=_days, metavar="N", help="how long it holds (default: until it is removed)")
    listed = _sub(what, "list", "list the tokens, without their secrets")
    remove = _sub(what, "remove", "take a token away; who bears it is shut out within seconds")
    remove.add_argument("name", type=text, metavar="NAME", help="as `coldside token list` names it")
    certificate = _sub(what, "certificate", "make a certificate of the pit's own, and its key, beside the config")
    certificate.add_argument(
        "--host", action="append", type=_host, metavar="NAME", required=True,
        help="name or address under which browsers and dashboards reach the pit; may be repeated",
    )  # fmt: skip
    for one in (add, listed, remove):
        add_store(one)
    for one in (add, listed, remove, certificate):
        add_config(one)
        add_json(one)


def _sub(what: "argparse._SubParsersAction[argparse.ArgumentParser]", name: str, says: str) -> argparse.ArgumentParser:
    return what.add_parser(name, help=says, description=says[0].upper() + says[1:] + ".")


def _days(words: str) -> float:
    try:
        days = float(words)
    except ValueError:
        days = 0.0
    if not 0.0 < days <= 36500.0:
        raise argparse.ArgumentTypeError(f"{words!r} is no number of days")
    return days


def _host(words: str) -> str:
    from collector.serve.address import bare_host

    host = words.lower()
    if bare_host(f"[{host}]" if host.count(":") > 1 else host) != host or not host.isascii():
        raise argparse.ArgumentTypeError(f"{words!r} is no name to go to; pit.local or 192.168.1.20 is one")
    return host


def run(options: argparse.Namespace) -> int:
    """Add, list or remove a token, or make a certificate."""
    match options.what:
        case "add":
            return _add(options)
        case "list":
            return _list(options)
        case "remove":
            return _remove(options)
    return _certificate(options)


def _file(options: argparse.Namespace) -> Path:
    """Find the tokens of the store that options and config name; without a config, of the usual one."""
    from collector.paths import config_file, store_file, tokens_file

    named = options.store
    if named is None and (options.config or config_file().exists()):
        named = load_settings(options).config.store.path
    return tokens_file(store_file(named or ""))


def _add(options: argparse.Namespace) -> int:
    from collector.serve.tokens import May, add_token

    now = time.time()
    until = now + DAY * options.days if options.days is not None else None
    file = _file(options)
    secret = add_token(file, options.name, May(options.may), now, until)
    if options.json:
        print(json.dumps({"schema": 1, "name": options.name, "may": options.may, "token": secret, "until_unix": until}))
        return Exit.OK
    print(secret)
    ends = f" for {options.days:g} days" if options.days is not None else ""
    print(
        f"{options.name} may {options.may}{ends}. The token is shown this once; {file} holds a hash.", file=sys.stderr
    )
    return Exit.OK


def _list(options: argparse.Namespace) -> int:
    from collector.serve.tokens import read_tokens

    tokens, now = read_tokens(_file(options)), time.time()
    if options.json:
        listed = [
            {"name": t.name, "may": t.may, "made_unix": t.made_unix, "until_unix": t.until_unix, "holds": t.holds(now)}
            for t in tokens
        ]
        print(json.dumps({"schema": 1, "tokens": listed}))
        return Exit.OK
    for token in tokens:
        until = "until it is removed"
        if token.until_unix is not None:
            until = ("until " if token.holds(now) else "ENDED ") + _date(token.until_unix)
        print(f"{token.name:20}  may {token.may:4}  made {_date(token.made_unix)}  {until}")
    if not tokens:
        print("nobody has a token; `coldside token add NAME --may look` makes one")
    return Exit.OK


def _date(unix: float) -> str:
    return time.strftime("%Y-%m-%d %H:%M", time.localtime(unix))


def _remove(options: argparse.Namespace) -> int:
    from collector.serve.tokens import remove_token

    remove_token(_file(options), options.name)
    print(json.dumps({"schema": 1, "removed": options.name}) if options.json else f"removed: {options.name}")
    return Exit.OK


def _certificate(options: argparse.Namespace) -> int:
    import datetime as dt

    from collector.paths import config_file
    from collector.serve.certificate import VALID_DAYS, fingerprint, openssl_words, self_signed

    folder = config_file(options.config).parent
    files = folder / "pit.crt", folder / "pit.key"
    folder.mkdir(parents=True, exist_ok=True)
    try:
        self_signed(options.host, *files, dt.datetime.now(dt.UTC))
    except ImportError:
        command = "umask 077 && " + shlex.join(openssl_words(options.host, *files))
        if options.json:
            print(json.dumps({"error": "cryptography is not installed", "command": command, "exit": int(Exit.FAILED)}))
        else:
            print(
                "coldside: the package cryptography is not installed; with openssl, this makes the same:",
                file=sys.stderr,
            )
            print(command)
        return Exit.FAILED
    print_of = fingerprint(files[0])
    if options.json:
        made = {"certificate": str(files[0]), "key": str(files[1]), "sha256": print_of, "days": VALID_DAYS}
        print(json.dumps({"schema": 1, **made}))
        return Exit.OK
    hosts = ", ".join(f'"{host}"' for host in options.host)
    print(f"made for {VALID_DAYS} days: {files[0]} and its key, which only you can read\nSHA-256 {print_of}")
    print(
        f'\nin {os.path.relpath(config_file(options.config))}:\n\n[serve]\nlisten = "0.0.0.0:8765"\n'
        f'certificate_file = "{files[0].name}"\nkey_file = "{files[1].name}"\nhosts = [{hosts}]'
    )
    return Exit.OK
