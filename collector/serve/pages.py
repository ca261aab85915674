"""The pages as they are sent: one document each, style and script inside, and the policy that allows only those."""

import base64
import hashlib
import html
from functools import cache
from importlib.resources import files

import msgspec

__all__ = ["HEADERS", "Document", "acknowledge_page", "login_page", "main_page"]

HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'",
    "Server": "coldside",
}
"""Of every answer."""


class Document(msgspec.Struct, frozen=True):
    """A page and the policy it is sent with; `{ws}` in it stands for where its WebSocket may go."""

    text: str
    policy: str


@cache
def main_page() -> Document:
    """Load the phone page."""
    return _document("page.html", script="page.js")


@cache
def acknowledge_page() -> Document:
    """Load the page behind a link in a message."""
    return _document("acknowledge.html", script="acknowledge.js", reach="'self'")


@cache
def _login() -> Document:
    return _document("login.html")


def login_page(message: str) -> Document:
    """Make the page that asks for a token, with what went wrong last."""
    page = _login()
    return Document(page.text.replace("{{message}}", html.escape(message)), page.policy)


def _document(name: str, script: str = "", reach: str = "'self' {ws}") -> Document:
    style = _file("page.css")
    code = _file(script) if script else ""
    text = _file(name).replace("{{style}}", style).replace("{{script}}", code)
    allowed = f"script-src {_hash(code)}; connect-src {reach}; " if code else ""
    policy = (
        f"default-src 'none'; {allowed}style-src {_hash(style)}; form-action 'self'; base-uri 'none'; "
        "frame-ancestors 'none'; require-trusted-types-for 'script'"
    )
    return Document(text, policy)


def _file(name: str) -> str:
    return files("collector").joinpath("page", name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
