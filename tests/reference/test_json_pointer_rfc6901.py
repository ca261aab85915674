"""JSON Pointers against RFC 6901, section 5, through the payload reader (values in data/json_pointer.json)."""

import json

import pytest

from adapters.decode.mqtt_payload import PayloadReader
from adapters.errors import DecodeError, SourceConfigError


def test_every_number_of_the_table_is_found(reference):
    table = reference("json_pointer.json")
    payload = json.dumps(table["doc"]).encode()
    numbers = {p: v for p, v in table["ok"].items() if isinstance(v, int)}
    assert len(numbers) == 9
    for pointer, value in numbers.items():
        [found] = PayloadReader("json", value=pointer).read("t", payload, 0.0)
        assert found.celsius == value, pointer


def test_every_error_of_the_table_is_refused(reference):
    table = reference("json_pointer.json")
    payload = json.dumps(table["doc"]).encode()
    for pointer in table["error"]:
        with pytest.raises((DecodeError, SourceConfigError)):
            PayloadReader("json", value=pointer).read("t", payload, 0.0)


def test_the_whole_document_is_the_empty_pointer():
    assert PayloadReader("json").read("t", b"21.5", 0.0)[0].celsius == 21.5
