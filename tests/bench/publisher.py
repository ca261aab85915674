"""A publisher in a process of its own, on a bare socket: it costs a fraction of what it is to measure.

`python -m tests.bench.publisher PORT PREFIX COUNT QOS PER_SECOND VALUES`, MQTT 3.1.1; `PER_SECOND` 0 is flat out.
Message n goes to topic PREFIX/p(n mod 16) and carries {"t": celsius, "n": n}; `VALUES` is `pit`, temperatures as a
pit gives them, or `numbered`, n / 1000.
"""

import socket
import struct
import subprocess
import sys
import time

from tests.bench.pit import values_of

__all__ = ["publish"]

BLOCK = 50
UNANSWERED = 2000


def publish(
    port: int, prefix: str, count: int, qos: int, per_second: float = 0, values: str = "pit"
) -> "subprocess.Popen[bytes]":
    """Start one."""
    words = [str(port), prefix, str(count), str(qos), str(per_second), values]
    return subprocess.Popen([sys.executable, "-m", "tests.bench.publisher", *words])


def _packet(n: int, prefix: str, qos: int, celsius: float) -> bytes:
    topic = f"{prefix}/p{n % 16}".encode()
    payload = b'{"t":%.3f,"n":%d}' % (celsius, n)
    identity = struct.pack("!H", 1 + n % 65535) if qos else b""
    body = struct.pack("!H", len(topic)) + topic + identity + payload
    assert len(body) < 128  # one byte of remaining length
    return bytes((0x30 | qos << 1, len(body))) + body


def _connect(port: int, prefix: str) -> socket.socket:
    s = socket.create_connection(("127.0.0.1", port))
    s.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    name = f"send-{prefix}".encode()
    body = b"\x00\x04MQTT\x04\x02\x00\x00" + struct.pack("!H", len(name)) + name
    s.sendall(bytes((0x10, len(body))) + body)
    assert s.recv(4)[3] == 0, "the broker refuses the publisher"
    return s


def _answered(s: socket.socket, expected: int) -> int:
    """Read acknowledgements, each of four bytes; give how many came."""
    got = 0
    while got < 4 * expected or got % 4:
        got += len(s.recv(65536))
    return got // 4


def main(port: int, prefix: str, count: int, qos: int, per_second: float, kind: str) -> None:
    """Send, and leave when the broker has answered everything."""
    s = _connect(port, prefix)
    block = 1 if per_second else BLOCK
    values = [n / 1000 for n in range(count)] if kind == "numbered" else values_of(count // 16 + 1).ravel().tolist()
    packets = [
        b"".join(_packet(n, prefix, qos, values[n]) for n in range(at, min(at + block, count)))
        for at in range(0, count, block)
    ]
    unanswered = 0
    began = time.monotonic()
    for k, packet in enumerate(packets):
        if per_second:
            time.sleep(max(0.0, began + k / per_second - time.monotonic()))
        s.sendall(packet)
        unanswered += min(block, count - k * block) if qos else 0
        if unanswered > UNANSWERED or (per_second and unanswered):
            unanswered -= _answered(s, 1)
    while unanswered:
        unanswered -= _answered(s, 1)
    s.sendall(b"\xe0\x00")
    s.close()


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2], int(sys.argv[3]), int(sys.argv[4]), float(sys.argv[5]), sys.argv[6])
