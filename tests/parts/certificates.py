"""A throw-away certificate authority and a server certificate for the loopback addresses."""

from __future__ import annotations

import ipaddress
import ssl
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID


@dataclass(frozen=True, slots=True)
class Certificates:
    """Files in PEM form: what a client must trust, and what a server shows."""

    ca_file: Path
    certificate: Path
    key: Path

    def server_context(self) -> ssl.SSLContext:
        """TLS for a server that shows the certificate."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(self.certificate, self.key)
        return context


def make_certificates(folder: Path, *, names: tuple[str, ...] = ("localhost",)) -> Certificates:
    """Issue a certificate for `names` and 127.0.0.1, valid for a day on either side of now."""
    ca_key = ec.generate_private_key(ec.SECP256R1())
    ca_name = _name("Throw-away test authority")
    ca = _builder(subject=ca_name, issuer=ca_name, key=ca_key.public_key())
    ca = ca.add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
    ca = ca.add_extension(_usage(signs_certificates=True), critical=True)
    key = ec.generate_private_key(ec.SECP256R1())
    leaf = _builder(subject=_name(names[0]), issuer=ca_name, key=key.public_key())
    alternatives = [x509.DNSName(name) for name in names]
    address = x509.IPAddress(ipaddress.ip_address("127.0.0.1"))
    leaf = leaf.add_extension(x509.SubjectAlternativeName([*alternatives, address]), critical=False)
    leaf = leaf.add_extension(_usage(signs_certificates=False), critical=True)
    leaf = leaf.add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
    authority = x509.AuthorityKeyIdentifier.from_issuer_public_key(ca_key.public_key())
    leaf = leaf.add_extension(authority, critical=False)
    made = Certificates(folder / "ca.pem", folder / "server.pem", folder / "server.key")
    made.ca_file.write_bytes(ca.sign(ca_key, hashes.SHA256()).public_bytes(serialization.Encoding.PEM))
    made.certificate.write_bytes(leaf.sign(ca_key, hashes.SHA256()).public_bytes(serialization.Encoding.PEM))
    made.key.write_bytes(_key_pem(key))
    return made


def _name(common: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, common)])


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=True, key_cert_sign=signs_certificates, crl_sign=signs_certificates,
        content_commitment=False, key_encipherment=False, data_encipherment=False,
        key_agreement=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip


def _builder(*, subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey) -> x509.CertificateBuilder:
    now = datetime.now(UTC)
    builder = x509.CertificateBuilder().subject_name(subject).issuer_name(issuer).public_key(key)
    builder = builder.serial_number(x509.random_serial_number())
    builder = builder.not_valid_before(now - timedelta(days=1)).not_valid_after(now + timedelta(days=1))
    return builder.add_extension(x509.SubjectKeyIdentifier.from_public_key(key), critical=False)


def _key_pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


@pytest.fixture(scope="session")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Certificates:
    """One authority and one certificate for `localhost` and 127.0.0.1 per run."""
    return make_certificates(tmp_path_factory.mktemp("certificates"))


@pytest.fixture(scope="session")
def stranger_certificates(tmp_path_factory: pytest.TempPathFactory) -> Certificates:
    """A second authority that nobody has been told to trust."""
    return make_certificates(tmp_path_factory.mktemp("stranger"))
