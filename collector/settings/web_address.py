"""Addresses that are called over the web, as they stand in files beside the config."""

from urllib.parse import urlsplit

__all__ = ["is_web_address"]


def is_web_address(text: str) -> bool:
    """Tell whether a text is the address of something that can be called."""
    try:
        parts = urlsplit(text)
        return parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        return False
