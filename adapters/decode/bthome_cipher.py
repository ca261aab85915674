"""The encryption of BTHome v2: AES-CCM with a tag of four bytes and no associated data.

Source: the encryption page of bthome.io. Service data is the head, the ciphertext, a counter of four bytes and the tag;
the nonce is the sender's address, the UUID as on the air (d2 fc), the head and the counter.
"""

from functools import lru_cache
from typing import TYPE_CHECKING

from adapters.errors import DecodeError, SourceConfigError

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.ciphers.aead import AESCCM

__all__ = ["decrypt"]

_KEY_BYTES = 16
_MAC_BYTES = 6
_COUNTER_BYTES = 4
_TAG_BYTES = 4
_UUID = b"\xd2\xfc"


def decrypt(payload: bytes, mac: bytes, bind_key: bytes) -> tuple[bytes, int]:
    """Decrypt service data.

    Args:
        payload: the service data, from its head.
        mac: the sender's address, first byte first.
        bind_key: 16 bytes.

    Returns:
        The objects in plain, and the encryption counter.

    Raises:
        DecodeError: it is too short, the key is not its sender's, or it was altered on the way.
        SourceConfigError: the key has not 16 bytes or the address not six; or `cryptography` is not installed.
    """
    if len(bind_key) != _KEY_BYTES:
        raise SourceConfigError(f"bind_key has {len(bind_key)} bytes; a BTHome key has {_KEY_BYTES}, in 32 digits")
    if len(mac) != _MAC_BYTES:
        raise SourceConfigError(f"an address of {len(mac)} bytes; decrypting BTHome needs all {_MAC_BYTES}")
    cipher = _cipher(bind_key)
    end = len(payload) - _COUNTER_BYTES - _TAG_BYTES
    if end < 2:
        least = 2 + _COUNTER_BYTES + _TAG_BYTES
        raise DecodeError(f"{len(payload)} bytes; an encrypted BTHome packet has at least {least}")
    counter, tag = payload[end : end + _COUNTER_BYTES], payload[-_TAG_BYTES:]
    from cryptography.exceptions import InvalidTag

    try:
        plain = cipher.decrypt(mac + _UUID + payload[:1] + counter, payload[1:end] + tag, None)
    except InvalidTag as error:
        raise DecodeError("BTHome packet does not decrypt: the bind key is another, or it was altered") from error
    return plain, int.from_bytes(counter, "little")


@lru_cache(maxsize=64)
def _cipher(bind_key: bytes) -> "AESCCM":
    try:
        from cryptography.hazmat.primitives.ciphers.aead import AESCCM
    except ImportError as missing:
        raise SourceConfigError("decrypting BTHome needs another package: install coldside[ble-encrypted]") from missing
    return AESCCM(bind_key, tag_length=_TAG_BYTES)
