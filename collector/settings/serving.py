"""What must hold in `[serve]`: an address, and beyond this machine never without a certificate."""

import ipaddress
from pathlib import Path
from urllib.parse import urlsplit

from collector.serve.address import Listen, bare_host, is_loopback, parse_listen
from collector.serve.private import others_may_read
from collector.settings.check import Mistake, Where
from collector.settings.secret import file_trouble, secret_file
from collector.settings.shape import Serve

__all__ = ["certificate_files", "check_serve"]


def certificate_files(serve: Serve, folder: Path) -> tuple[Path, Path] | None:
    """Find certificate and key; None where there are none."""
    if not serve.certificate_file:
        return None
    return folder / serve.certificate_file, secret_file(folder, serve.key_file)


def check_serve(serve: Serve | None, folder: Path, found: list[Mistake]) -> None:
    """Add to `found` what cannot be served so.

    Args:
        serve: the table, of the right shape; None where there is none.
        folder: where files named in it are taken from.
        found: gets the mistakes.
    """
    if serve is None:
        return
    listen = None
    try:
        listen = parse_listen(serve.listen)
    except ValueError as error:
        found.append((("serve", "listen"), str(error)))
    else:
        if not listen.loopback and not serve.certificate_file:
            found.append((("serve", "listen"), _bare(serve.listen, listen.port)))
    for i, host in enumerate(serve.hosts):
        if bare_host(f"[{host}]" if host.count(":") > 1 else host) != host:
            what = f"{host!r} is no name a browser can go to; write it in small letters, without port: pit.local"
            found.append((("serve", "hosts", i), what))
    _check_files(serve, folder, found)
    if serve.link and (why := _link_mistake(serve, listen)):
        found.append((("serve", "link"), why))


def _bare(listen: str, port: int) -> str:
    return (
        f'"{listen}" can be reached by others, so it needs certificate_file and key_file; `coldside token certificate '
        f'--host NAME` makes them. Or listen = "127.0.0.1:{port}" and come in by `ssh -L {port}:127.0.0.1:{port}`'
    )


def _link_mistake(serve: Serve, listen: Listen | None) -> str:
    """Say why no link in a message can begin so; empty where it can."""
    try:
        parts = urlsplit(serve.link)
        host, _ = (parts.hostname or "").removesuffix("."), parts.port
    except ValueError:
        return f'{serve.link!r} is no address; write it as "https://pit.local:8765"'
    rest = parts.path or parts.query or parts.fragment or parts.username is not None or serve.link[-1] in "?#:"
    if parts.scheme not in ("https", "http") or not host or rest or not serve.link.isascii():
        return f'{serve.link!r} is not only scheme, host and port; write it as "https://pit.local:8765"'
    if parts.scheme == "http" and not is_loopback(host):
        return "goes over the network in clear; it begins with https://, and certificate_file and key_file are needed"
    if (parts.scheme == "https") != bool(serve.certificate_file):
        return "begins with https:// where there is a certificate_file, with http:// where there is none"
    if host in serve.hosts or (listen is not None and _answers_to(host, listen)):
        return ""
    return f"names {host!r}, to which nothing answers here; add it to hosts"


def _answers_to(host: str, listen: Listen) -> bool:
    """Tell whether a host is an address that we can be reached at, as far as the config tells."""
    if is_loopback(host):
        return listen.loopback or ipaddress.ip_address(listen.host).is_unspecified
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return host == listen.host or ipaddress.ip_address(listen.host).is_unspecified


def _check_files(serve: Serve, folder: Path, found: list[Mistake]) -> None:
    if bool(serve.certificate_file) != bool(serve.key_file):
        found.append((("serve", "certificate_file"), "certificate_file and key_file go together"))
        return
    files = certificate_files(serve, folder)
    if files is None:
        return
    where: tuple[Where, Where] = ("serve", "certificate_file"), ("serve", "key_file")
    before = len(found)
    for file, key, name in zip(files, where, (serve.certificate_file, serve.key_file), strict=True):
        if why := file_trouble(file):
            found.append((key, f"{name!r} {why}"))
    if len(found) == before and others_may_read(files[1]):
        found.append((where[1], f"{serve.key_file!r} can be read by others on this machine; chmod 600 it"))
    if len(found) == before:
        from collector.serve.certificate import mismatch

        if why := mismatch(*files):
            found.append((where[0], f"{serve.certificate_file!r} {why}"))
