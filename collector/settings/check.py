"""Walks a parsed TOML document against the config's shape and collects every mistake, not only the first."""

import types
import typing
from typing import Any

import msgspec

from collector.settings.meaning import mistake_in
from collector.settings.nearest import nearest
from collector.settings.shape import Config

__all__ = ["Mistake", "Where", "mistakes"]

Where = tuple[str | int, ...]
"""Path of a key: names, and numbers from 0 in arrays."""
Mistake = tuple[Where, str]


def mistakes(document: dict[str, Any], shape: type[msgspec.Struct] = Config) -> list[Mistake]:
    """List what a shape does not allow, each with its path; empty when one can be made of the document."""
    found: list[Mistake] = []
    _walk(document, shape, (), found)
    return found


def _walk(value: Any, kind: Any, path: Where, found: list[Mistake]) -> None:
    """Check one value against one type, going down into tables and arrays of tables."""
    kind = _plain(kind)
    by_tag = _tagged(kind)
    if by_tag:
        _walk_tagged(value, by_tag, path, found)
        return
    if isinstance(kind, type) and issubclass(kind, msgspec.Struct):
        _walk_table(value, kind, path, found)
        return
    origin, args = typing.get_origin(kind), typing.get_args(kind)
    if origin is typing.Annotated and typing.get_origin(kind.__origin__) is dict:  # tables under names, bound in number
        origin, args = dict, typing.get_args(kind.__origin__)
    inner = args[0] if origin is tuple and len(args) == 2 and args[1] is Ellipsis else None
    if inner is not None and _is_table(inner):
        if not isinstance(value, list):
            found.append((path, f"must be written as an array of tables: [[{_dotted(path)}]]"))
            return
        for index, item in enumerate(value):
            _walk(item, inner, (*path, index), found)
        return
    if origin is dict and _is_table(args[1]):
        _walk_named(value, args[1], path, found)
        return
    if _fits(value, kind, path, found):
        _walk_meaning(value, kind, path, found)


def _walk_named(value: Any, kind: Any, path: Where, found: list[Mistake]) -> None:
    """Check a table of tables, each under a name of its own."""
    if not isinstance(value, dict):
        found.append((path, f"must be a table: [{_dotted(path)}.NAME]"))
        return
    for name, item in value.items():
        if not name.isprintable():
            found.append(((*path, name), f"the name {name!r} holds a character that cannot be printed"))
        _walk(item, kind, (*path, name), found)


def _fits(value: Any, kind: Any, path: Where, found: list[Mistake]) -> bool:
    """Tell whether a value is of a type and within its bounds."""
    try:
        msgspec.convert(value, kind)
    except msgspec.ValidationError as error:
        words = _words(kind)
        near = nearest(value, words) if isinstance(value, str) and words else ""
        found.append((path, f"{value!r} is none{near}; allowed: {_list(words)}" if words else _say(str(error))))
    except ValueError as error:
        if "digits" not in str(error):  # the converter cannot quote a number of thousands of digits
            raise
        found.append((path, "is a number of too many digits"))
    else:
        return True
    return False


def _walk_meaning(value: Any, kind: Any, path: Where, found: list[Mistake]) -> None:
    """Check what the texts in a value mean; the value is of its type."""
    origin, args = typing.get_origin(kind), typing.get_args(kind)
    if origin is typing.Annotated:
        for meta in kind.__metadata__:
            why = mistake_in(value, meta.extra["means"]) if meta.extra else None
            if why is not None:
                found.append((path, why))
    elif origin is types.UnionType or origin is typing.Union:
        _walk_meaning(value, args[0], path, found)
    elif origin is tuple and Ellipsis not in args:
        for item, inner in zip(value, args, strict=True):
            _walk_meaning(item, inner, path, found)


def _walk_tagged(value: Any, tables: dict[str, type[msgspec.Struct]], path: Where, found: list[Mistake]) -> None:
    """Check a table that is one of several, told apart by its `kind`."""
    what = next((part for part in reversed(path) if isinstance(part, str)), "")
    if not isinstance(value, dict):
        found.append((path, f"must be a table with a kind: {_list(tables)}"))
        return
    kind = value.get("kind")
    if kind is None:
        found.append((path, f"says no kind; add kind = {' or kind = '.join(_quoted(tables))}"))
    elif not isinstance(kind, str) or kind not in tables:
        near = nearest(str(kind), list(tables))
        found.append(((*path, "kind"), f"{kind!r} is no kind of {what}{near}; allowed: {_list(tables)}"))
    else:
        _walk_table(value, tables[kind], path, found)


def _walk_table(value: Any, kind: type[msgspec.Struct], path: Where, found: list[Mistake]) -> None:
    if not isinstance(value, dict):
        found.append((path, f"must be a table: [{_dotted(path)}]"))
        return
    fields = {f.encode_name: f for f in msgspec.structs.fields(kind)}
    tag = kind.__struct_config__.tag_field
    for key in value:
        if key not in fields and key != tag:
            near = nearest(key, list(fields)) or f"; allowed here: {_list(fields)}"
            found.append(((*path, key), f"unknown key{near}"))
    hints = typing.get_type_hints(kind, include_extras=True)
    for name, field in fields.items():
        if name in value:
            before = len(found)
            _walk(value[name], hints[field.name], (*path, name), found)
            if len(found) == before:
                _fits(value[name], hints[field.name], (*path, name), found)  # binds a whole array: its least length
        elif field.required:
            found.append(((*path, name), "is missing"))


def _plain(kind: Any) -> Any:
    """Take off `Annotated`, and `None` of an optional table."""
    if typing.get_origin(kind) is typing.Annotated and _is_table(kind.__origin__):
        kind = kind.__origin__
    tables = [one for one in _members(kind) if one is not types.NoneType]
    return tables[0] if len(tables) == 1 and _is_table(tables[0]) else kind


def _members(kind: Any) -> tuple[Any, ...]:
    """List what a union is made of; empty for anything else."""
    is_union = typing.get_origin(kind) in (types.UnionType, typing.Union)
    return typing.get_args(kind) if is_union else ()


def _tagged(kind: Any) -> dict[str, type[msgspec.Struct]]:
    """Map the tables of a union by their tag; empty for what is no union of tables."""
    tables = [one for one in _members(kind) if one is not types.NoneType]
    if not tables or not all(isinstance(one, type) and issubclass(one, msgspec.Struct) for one in tables):
        return {}
    return {str(one.__struct_config__.tag): one for one in tables}


def _is_table(kind: Any) -> bool:
    if _tagged(kind):
        return True
    if typing.get_origin(kind) is tuple:
        args = typing.get_args(kind)
        return len(args) == 2 and args[1] is Ellipsis and _is_table(args[0])
    return isinstance(kind, type) and issubclass(kind, msgspec.Struct)


def _words(kind: Any) -> list[str]:
    """List the words a value may be; empty where it is not one of a few."""
    if typing.get_origin(kind) is typing.Annotated:
        kind = kind.__origin__
    kind = next((one for one in _members(kind) if one is not types.NoneType), kind)
    words = typing.get_args(kind) if typing.get_origin(kind) is typing.Literal else ()
    return [word for word in words if isinstance(word, str)]


def _say(error: str) -> str:
    """Turn a converter's sentence into one for a cook."""
    said = error.split(" - at `", maxsplit=1)[0].replace(" | null`", "`")  # what may be left out is left out, not null
    for word, plain in (
        ("`str`", "text in quotes"), ("`float`", "a number"), ("`int`", "a whole number"), ("`bool`", "true or false"),
        ("`array`", "an array"), ("`object`", "a table"), ("`null`", "nothing"),
    ):  # fmt: skip
        said = said.replace(word, plain)
    return said[0].lower() + said[1:]


def _list(words: typing.Iterable[str]) -> str:
    return ", ".join(_quoted(words))


def _quoted(words: typing.Iterable[str]) -> list[str]:
    return [f'"{word}"' for word in words]


def _dotted(path: Where) -> str:
    return ".".join(str(part) for part in path if isinstance(part, str))
