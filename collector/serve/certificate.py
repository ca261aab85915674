"""The certificate of the service: its fingerprint, and one made for a pit in a back yard that no authority knows."""

import base64
import datetime as dt
import hashlib
import ipaddress
import os
import re
import ssl
from collections.abc import Sequence
from pathlib import Path

from collector.serve.private import write_private

__all__ = ["VALID_DAYS", "fingerprint", "mismatch", "openssl_words", "self_signed", "server_context"]

VALID_DAYS = 820
"""Browsers of telephones refuse certificates that are valid for more than 825 days."""


def fingerprint(certificate: Path) -> str:
    """Give the SHA-256 of the first certificate in a PEM file, as browsers show it: pairs of digits and colons.

    Raises:
        OSError: the file cannot be read.
        ValueError: there is no certificate in it.
    """
    text = certificate.read_text(encoding="ascii", errors="replace")
    found = re.search(r"-----BEGIN CERTIFICATE-----\s(.+?)-----END CERTIFICATE-----", text, re.DOTALL)
    if found is None:
        raise ValueError("holds no certificate in PEM form")
    digest = hashlib.sha256(base64.b64decode(found[1])).hexdigest().upper()
    return ":".join(digest[i : i + 2] for i in range(0, len(digest), 2))


def server_context(certificate: Path, key: Path) -> ssl.SSLContext:
    """Make what the service's connections are encrypted with: TLS 1.2 or later.

    Raises:
        OSError: a file cannot be read, is no certificate or no key, or the two do not go together (`ssl.SSLError`).
    """
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.set_alpn_protocols(["http/1.1"])
    context.load_cert_chain(certificate, key, password=lambda: "")  # a key with a password fails, it asks nobody
    return context


def mismatch(certificate: Path, key: Path) -> str:
    """Say why certificate and key cannot be used; empty when they can."""
    try:
        server_context(certificate, key)
    except ssl.SSLError as error:
        if "MISMATCH" in str(error):
            return "does not belong to the key in key_file"
        return "and key_file cannot be used: PEM files without a password are needed"
    except OSError as error:
        return f"cannot be used: {error.strerror}"
    return ""


def _names(hosts: Sequence[str]) -> list[tuple[str, str]]:
    """Give each host with its kind in a certificate: `IP` or `DNS`."""
    found = []
    for host in hosts:
        try:
            found.append(("IP", str(ipaddress.ip_address(host))))
        except ValueError:
            found.append(("DNS", host))
    return found


def openssl_words(hosts: Sequence[str], certificate: Path, key: Path) -> list[str]:
    """Give the command that makes such a certificate with openssl."""
    names = ",".join(f"{kind}:{name}" for kind, name in _names(hosts))
    return [
        "openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-sha256",
        "-days", str(VALID_DAYS), "-subj", f"/CN={hosts[0]}", "-addext", f"subjectAltName={names}",
        "-addext", "basicConstraints=critical,CA:FALSE", "-addext", "extendedKeyUsage=serverAuth",
        "-keyout", str(key), "-out", str(certificate),
    ]  # fmt: skip


def self_signed(hosts: Sequence[str], certificate: Path, key: Path, now: dt.datetime) -> None:
    """Make a certificate for these names and addresses, and its key, mode 0600. It can sign for nothing else.

    Raises:
        ImportError: cryptography is not installed.
        FileExistsError: one of the files is there already.
        OSError: they cannot be written.
    """
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509 import oid

    for file in (certificate, key):
        if file.exists():
            raise FileExistsError(17, os.strerror(17), str(file))
    private = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(oid.NameOID.COMMON_NAME, hosts[0][:64])])
    general: list[x509.GeneralName] = [
        x509.IPAddress(ipaddress.ip_address(host)) if kind == "IP" else x509.DNSName(host)
        for kind, host in _names(hosts)
    ]
    public = private.public_key()
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - dt.timedelta(days=1))  # a pit's clock may be behind the phone's
        .not_valid_after(now + dt.timedelta(days=VALID_DAYS))
        .add_extension(x509.SubjectAlternativeName(general), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([oid.ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
        .sign(private, hashes.SHA256())
    )
    pem = private.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    write_private(key, pem)
    certificate.write_bytes(made.public_bytes(serialization.Encoding.PEM))
