"""Messages over a WebSocket, as to its frames; the rest is tried through the service (`test_serve`)."""

from collector.serve.web_channel import frame_head


def test_a_frame_begins_as_in_the_standards_examples():
    """RFC 6455, 5.7: binary messages of 256 bytes and of 64 kiB, not masked."""
    assert frame_head(256) == bytes.fromhex("827e0100")
    assert frame_head(65536) == bytes.fromhex("827f0000000000010000")
    assert frame_head(125) == bytes.fromhex("827d")
