"""What must hold in `[serve]`: an address, and beyond this machine never without a certificate."""

from pathlib import Path

from collector.serve.address import bare_host, parse_listen
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


def _bare(listen: str, port: int) -> str:
    return (
        f'"{listen}" can be reached by others, so it needs certificate_file and key_file; `coldside token certificate '
        f'--host NAME` makes them. Or listen = "127.0.0.1:{port}" and come in by `ssh -L {port}:127.0.0.1:{port}`'
    )


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
