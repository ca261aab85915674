"""What a text of the config must mean beyond being text: a temperature, a topic filter, a pointer into JSON."""

import re
from collections.abc import Callable

from jsonpointer import JsonPointer, JsonPointerException

from adapters.decode.gatt import full_uuid
from adapters.decode.mqtt_payload import KeyPlace
from adapters.errors import SourceConfigError
from adapters.mqtt.filters import check_filter, check_topic
from adapters.text import printable
from collector.settings.quantity import (
    QuantityError,
    parse_difference,
    parse_hours,
    parse_mass,
    parse_temperature,
    parse_time_of_day,
)

__all__ = ["mistake_in"]


def mistake_in(text: str, means: str) -> str | None:
    """Say why a text does not mean what it should; None when it does.

    Args:
        text: as it stands in the config.
        means: a key of the table below, as the shape names it.
    """
    try:
        _CHECKS[means](text)
    except (QuantityError, SourceConfigError) as error:
        return str(error)
    return None


def _not_negative(text: str) -> None:
    if parse_difference(text) < 0:
        raise QuantityError(f"{text!r} must not be less than nothing")


def _positive(text: str) -> None:
    if parse_difference(text) <= 0:
        raise QuantityError(f"{text!r} must be more than nothing")


def _key_place(text: str) -> None:
    KeyPlace(text)
    if text.startswith("/"):
        _pointer(text)


def _pointer(text: str) -> None:
    try:
        JsonPointer(text)
    except JsonPointerException as error:
        raise SourceConfigError(
            f'{text!r} is no JSON Pointer: write "/" before each name (RFC 6901), or "" for the whole document'
        ) from error


def _hours(text: str) -> None:
    if text:
        parse_hours(text)


def _time_of_day(text: str) -> None:
    if text:
        parse_time_of_day(text)


def _address(text: str) -> None:
    if not _ADDRESS.fullmatch(text):
        raise SourceConfigError(
            f'{text!r} is no device address: six bytes with colons, "C0:FF:EE:00:00:01", or on macOS the UUID that '
            "`coldside scan` shows"
        )


_ADDRESS = re.compile(r"(?:[0-9A-Fa-f]{2}:){5}[0-9A-Fa-f]{2}|[0-9A-Fa-f]{8}(?:-[0-9A-Fa-f]{4}){3}-[0-9A-Fa-f]{12}|")


def _name(text: str) -> None:
    if printable(text) != text or "\n" in text or "\t" in text:
        raise QuantityError(f"{text!r} holds a character that cannot be printed in one line: write it without")


_CHECKS: dict[str, Callable[[str], object]] = {
    "name": _name,
    "temperature": parse_temperature,
    "difference": parse_difference,
    "difference, not negative": _not_negative,
    "difference, positive": _positive,
    "topic filter": check_filter,
    "topic": check_topic,
    "key place": _key_place,
    "JSON Pointer": _pointer,
    "device address": _address,
    "hours": _hours,
    "mass": parse_mass,
    "time of day": _time_of_day,
    "UUID": lambda text: full_uuid(text) if text else None,
}
