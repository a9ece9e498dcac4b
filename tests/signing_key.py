"""A key to try signing with: made anew each time, vouched for by nobody, good for tests and for looking at the demo.

Run: ``python tests/signing_key.py FOLDER`` writes ``chain.pem`` and ``key.pem`` into FOLDER.
"""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID


def named(common: str) -> x509.Name:
    return x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, "Test keys, vouched for by nobody"),
            x509.NameAttribute(NameOID.COMMON_NAME, common),
        ]
    )


def certificate(key: ec.EllipticCurvePrivateKey, issuer_key: ec.EllipticCurvePrivateKey, *, is_ca: bool) -> bytes:
    """A certificate by the profile of C2PA 2.1, 14.5.1: key usage, and e-mail protection for the signer."""
    usage = x509.KeyUsage(not is_ca, False, False, False, False, is_ca, is_ca, False, False)
    builder = (
        x509.CertificateBuilder()
        .subject_name(named("Test root" if is_ca else "Test signer"))
        .issuer_name(named("Test root"))
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(dt.datetime(2024, 1, 1, tzinfo=dt.UTC))
        .not_valid_after(dt.datetime(2090, 1, 1, tzinfo=dt.UTC))
        .add_extension(x509.BasicConstraints(is_ca, None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(issuer_key.public_key()), critical=False)
    )
    if not is_ca:
        builder = builder.add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.EMAIL_PROTECTION]), critical=True)
    return builder.sign(issuer_key, hashes.SHA256()).public_bytes(serialization.Encoding.PEM)


def write(folder: Path) -> tuple[Path, Path]:
    """Write the certificate chain and the private key; returns their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    root, signer = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())
    chain, key = folder / "chain.pem", folder / "key.pem"
    chain.write_bytes(certificate(signer, root, is_ca=False) + certificate(root, root, is_ca=True))
    form = serialization.PrivateFormat.PKCS8
    key.write_bytes(signer.private_bytes(serialization.Encoding.PEM, form, serialization.NoEncryption()))
    return chain, key


if __name__ == "__main__":
    print(*write(Path(sys.argv[1])))
