"""Shared subscriptions: a broker deals the messages of a topic out to the members of a group (MQTT 5.0, 4.8.2)."""

from adapters.errors import SourceConfigError
from adapters.mqtt.filters import to_subscribe
from adapters.mqtt.options import BrokerOptions

__all__ = ["NO_MQTT_5", "SHARED_EXPIRY_SECONDS", "SHARED_RECEIVE_MAXIMUM", "check_share", "needs_sharing", "wanted"]

SHARED_EXPIRY_SECONDS = 600
"""How long a broker keeps the session of a member that is away (MQTT 5.0, 3.1.2.11.2). Long enough for a restart, and
no longer: until then a broker may go on to set the member's share aside, where the others do not see it."""
SHARED_RECEIVE_MAXIMUM = 20
"""Unacknowledged messages on their way to a member (3.1.2.11.3): what it holds up when it dies, until it is back."""
NO_MQTT_5 = 0x84
"""Reason code of a CONNACK: unsupported protocol version (3.2.2.2)."""
MAX_SHARE_BYTES = 128


def check_share(text: str) -> None:
    """Check that a group can be named so.

    Raises:
        SourceConfigError: it is empty, too long, or holds what 4.8.2 and 1.5.4 forbid.
    """
    if not text:
        raise SourceConfigError("a group has a name of at least one character; without a group, leave share out")
    too_long = len(text.encode(errors="replace")) > MAX_SHARE_BYTES
    if too_long or not text.isprintable() or any(mark in text for mark in "/+#"):
        raise SourceConfigError(
            f'{text[:40]!r} is no name of a group: it has no "/", "+" or "#", nothing that cannot be printed, and at '
            f"most {MAX_SHARE_BYTES} bytes"
        )


def wanted(options: BrokerOptions) -> list[tuple[str, int]]:
    """List the filters to subscribe to, with their QoS; none that another covers.

    What tells that a bridge is gone is never shared: each member has to know it.
    """
    filters = [(s.filter, s.qos) for s in options.subscriptions]
    words = [(a.topic, 1) for a in options.availability]
    if not options.share:
        return to_subscribe(filters + words)
    shared = [(f"$share/{options.share}/{topic_filter}", qos) for topic_filter, qos in to_subscribe(filters)]
    return shared + to_subscribe(words)


def needs_sharing(share: str, why: str) -> str:
    """Say what to do about a broker that cannot share."""
    return f'{why}; share = "{share}" needs a broker with shared subscriptions (MQTT 5): use one, or take share away'
