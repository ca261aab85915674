"""Topic filters against the examples of MQTT 3.1.1 / 5.0, section 4.7 (values and source in data/mqtt.json)."""

import pytest

from adapters.decode.mqtt_payload import PayloadReader
from adapters.mqtt.options import BrokerOptions, Subscription
from adapters.mqtt.source import MqttSource


def test_every_row_of_the_standard(reference):
    table = reference("mqtt.json")
    assert len(table["match"]) == 18
    for row in table["match"]:
        subscription = Subscription(row["filter"], 0, PayloadReader())
        source = MqttSource(BrokerOptions("b", "nowhere", (subscription,)))
        found = source._route(row["topic"])
        assert (found is subscription) == row["match"], row


@pytest.mark.parametrize("order", [1, -1])
def test_the_first_filter_of_the_config_wins(order):
    subscriptions = tuple(Subscription(f, 0, PayloadReader()) for f in ["pit/+", "pit/#", "pit/flat"][::order])
    source = MqttSource(BrokerOptions("b", "nowhere", subscriptions))
    assert source._route("pit/flat") is subscriptions[0]
    assert source._route("pit/flat") is subscriptions[0], "and again, from the remembered route"
