"""The JSON document and its schema."""

import json

import msgspec
import pytest

from collector.report.document import SCHEMA_FILE, document_of, packaged_schema, schema_text
from collector.report.facts import Facts


def test_the_packaged_schema_is_that_of_the_facts():
    assert packaged_schema() == schema_text(), f"write {SCHEMA_FILE} anew: python -m collector.report.document"


def test_every_field_of_the_schema_is_there_and_the_units_are_told():
    schema = json.loads(packaged_schema())
    assert schema["$ref"] == "#/$defs/Facts"
    facts = schema["$defs"]["Facts"]["properties"]
    assert list(facts) == [f.encode_name for f in msgspec.structs.fields(Facts)]
    point = schema["$defs"]["SurveyPoint"]["properties"]
    assert point["mean_celsius"]["description"].startswith("degrees Celsius")
    assert "Furthest above the reference" in point["above_kelvin"]["description"], "the docstring's words"


def test_the_document_holds_to_the_schema(told):
    written = document_of(told.facts)
    again = msgspec.json.decode(written, type=Facts, strict=True)
    assert again == told.facts
    plain = json.loads(written, parse_constant=lambda word: pytest.fail(f"{word} is no JSON"))
    assert _mistakes(plain, json.loads(packaged_schema())) == []


def test_what_does_not_hold_to_the_schema_is_found(told):
    schema = json.loads(packaged_schema())
    broken = json.loads(document_of(told.facts))
    del broken["cook"]["name"]
    broken["survey"]["minutes"] = "many"
    assert len(_mistakes(broken, schema)) == 2


def _mistakes(value, schema, root=None, at="$"):
    """Hold a value against the parts of JSON Schema that ours uses."""
    root = root or schema
    if "$ref" in schema:
        schema = {**root["$defs"][schema["$ref"].rpartition("/")[2]]}
    if "anyOf" in schema:
        tried = [_mistakes(value, one, root, at) for one in schema["anyOf"]]
        return min(tried, key=len)
    kind = schema.get("type")
    kinds = {
        "object": dict, "array": list, "string": str, "integer": int, "number": (int, float), "boolean": bool,
        "null": type(None),
    }  # fmt: skip
    if not isinstance(value, kinds[kind]) or (isinstance(value, bool) and kind != "boolean"):
        return [f"{at} is no {kind}"] * (1 if not isinstance(value, dict) else 9)
    found = []
    if kind == "object":
        found += [f"{at}.{name} is missing" for name in schema["required"] if name not in value]
        for name, one in value.items():
            found += _mistakes(one, schema["properties"][name], root, f"{at}.{name}")
    if kind == "array":
        found += [m for k, one in enumerate(value) for m in _mistakes(one, schema["items"], root, f"{at}[{k}]")]
    return found
