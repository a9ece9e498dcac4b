"""Signed provenance, read back by C2PA's own reader."""

from __future__ import annotations

import datetime as dt
import json
from io import BytesIO
from pathlib import Path

import handmade
import pytest

from surrogate.errors import WrongUse
from surrogate.handover.site import publish
from surrogate.handover.site.provenance import STATEMENT, Signing, SigningKey
from surrogate.records import Use

c2pa = pytest.importorskip("c2pa")
x509 = pytest.importorskip("cryptography.x509")

from cryptography.hazmat.primitives import hashes, serialization  # noqa: E402
from cryptography.hazmat.primitives.asymmetric import ec  # noqa: E402
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID  # noqa: E402


def named(common: str) -> x509.Name:
    return x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, "Lindenau test keys"),
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


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> SigningKey:
    folder = tmp_path_factory.mktemp("keys")
    root, signer = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())
    chain = certificate(signer, root, is_ca=False) + certificate(root, root, is_ca=True)
    (folder / "chain.pem").write_bytes(chain)
    (folder / "key.pem").write_bytes(
        signer.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
    )
    return SigningKey(folder / "chain.pem", folder / "key.pem")


def told(jpeg: bytes) -> dict[str, object]:
    with c2pa.Reader("image/jpeg", BytesIO(jpeg)) as reader:
        return json.loads(reader.json())


def test_every_published_picture_tells_its_origin(tmp_path: Path, key: SigningKey) -> None:
    whole = handmade.build(tmp_path / "c", 3)
    publish(tmp_path / "c", tmp_path / "s", signing_key=key)
    pictures = list((tmp_path / "s").rglob("full/max/0/default.jpg"))
    assert len(pictures) == 4
    masters = {master.sha256 for original in whole.originals for master in original.masters}
    for picture in pictures:
        report = told(picture.read_bytes())
        # the only complaint is that nobody vouches for a test key
        assert {status["code"] for status in report["validation_status"]} == {"signingCredential.untrusted"}
        claim = report["manifests"][report["active_manifest"]]
        said = {assertion["label"]: assertion["data"] for assertion in claim["assertions"]}
        assert said["org.surrogate.origin"]["master_sha256"] in masters
        assert said["org.surrogate.origin"]["statement"] == STATEMENT
        actions = [action["action"] for action in said["c2pa.actions.v2"]["actions"]]
        assert actions == ["c2pa.created", "c2pa.color_adjustments", "c2pa.color_adjustments", "c2pa.published"]
        assert "thumbnail" not in claim
    assert publish(tmp_path / "c", tmp_path / "s", signing_key=key).written == 0


def test_a_changed_pixel_is_found(tmp_path: Path, key: SigningKey) -> None:
    handmade.build(tmp_path / "c", 1)
    publish(tmp_path / "c", tmp_path / "s", signing_key=key)
    content = (tmp_path / "s/iiif/2026-001-0001_r/full/max/0/default.jpg").read_bytes()
    at = len(content) - 200
    changed = content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :]
    assert "assertion.dataHash.mismatch" in {status["code"] for status in told(changed)["validation_status"]}


def test_without_a_key_nothing_is_signed(tmp_path: Path) -> None:
    whole = handmade.build(tmp_path / "c", 1)
    publish(tmp_path / "c", tmp_path / "s")
    picture = (tmp_path / "s/iiif/2026-001-0001_r/full/max/0/default.jpg").read_bytes()
    assert b"c2pa" not in picture
    assert any(copy.use is Use.VIEWING for copy in whole.originals[0].copies)


def test_an_unusable_key_is_refused_in_a_sentence(tmp_path: Path, key: SigningKey) -> None:
    with pytest.raises(WrongUse, match="cannot be read"):
        Signing(SigningKey(tmp_path / "none.pem", key.key))
    with pytest.raises(WrongUse, match="algorithm"):
        Signing(SigningKey(key.certificates, key.key, "rot13"))
    (tmp_path / "bad.pem").write_text("no key")
    with pytest.raises(WrongUse, match=r"PEM|signed"):
        publish_with(tmp_path, SigningKey(tmp_path / "bad.pem", tmp_path / "bad.pem"))


def publish_with(folder: Path, key: SigningKey) -> None:
    handmade.build(folder / "c", 1)
    publish(folder / "c", folder / "s", signing_key=key)
