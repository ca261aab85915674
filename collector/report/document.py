"""The report as one JSON document, and the schema that says what stands in it.

The schema (JSON Schema, draft 2020-12) lies beside this file as `cook.schema.json` and is written anew by
`python -m collector.report.document`; its words are the docstrings of the facts.
"""

import ast
import inspect
import sys
import textwrap
from importlib.resources import files
from typing import Any

import msgspec

from collector.report.facts import Facts

__all__ = ["SCHEMA_FILE", "document_of", "schema_text"]

SCHEMA_FILE = "cook.schema.json"


def document_of(facts: Facts) -> bytes:
    """Write the document: UTF-8, indented, its keys in the order of the schema; times Unix seconds UTC, °C, kelvin."""
    return msgspec.json.format(msgspec.json.encode(facts), indent=2) + b"\n"


def schema_text() -> str:
    """Write the schema, every field with what its docstring says of it."""
    (root,), components = msgspec.json.schema_components([Facts], ref_template="#/$defs/{name}")
    said = {kind.__name__: _docstrings(kind) for kind in _structs(Facts)}
    for name, component in components.items():
        for field, schema in component.get("properties", {}).items():
            words = said.get(name, {}).get(field)
            if words:
                unit = schema.pop("description", "")
                schema["description"] = f"{words} ({unit})" if unit else words
    document: dict[str, Any] = {
        "$schema": "https://json-schema.org/draft/2020-12/schema", "title": "coldside: report of a cook", **root,
        "$defs": components,
    }  # fmt: skip
    return msgspec.json.format(msgspec.json.encode(document), indent=2).decode() + "\n"


def _structs(kind: type[msgspec.Struct]) -> set[type[msgspec.Struct]]:
    """Collect a structure and all that its fields hold."""
    found: set[type[msgspec.Struct]] = set()
    waiting: list[Any] = [msgspec.inspect.type_info(kind)]
    while waiting:
        info = waiting.pop()
        if isinstance(info, msgspec.inspect.StructType) and info.cls not in found:
            found.add(info.cls)
            waiting += [field.type for field in info.fields]
        for name in ("item_type", "type"):
            inner = getattr(info, name, None)
            waiting += [inner] if isinstance(inner, msgspec.inspect.Type) else []
        waiting += list(getattr(info, "types", ()))
    return found


def _docstrings(kind: type[msgspec.Struct]) -> dict[str, str]:
    """Read what stands under each field of a class."""
    (body,) = ast.parse(textwrap.dedent(inspect.getsource(kind))).body
    assert isinstance(body, ast.ClassDef), "the source of a class is a class"
    found: dict[str, str] = {}
    for field, following in zip(body.body, body.body[1:], strict=False):
        if isinstance(field, ast.AnnAssign) and isinstance(field.target, ast.Name) and isinstance(following, ast.Expr):
            words = following.value
            if isinstance(words, ast.Constant) and isinstance(words.value, str):
                found[field.target.id] = " ".join(inspect.cleandoc(words.value).split()).rstrip(".")
    return found


def packaged_schema() -> str:
    """Read the schema that is packaged."""
    return (files("collector.report") / SCHEMA_FILE).read_text(encoding="utf-8")


if __name__ == "__main__":
    sys.stdout.write(schema_text())
