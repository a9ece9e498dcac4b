"""Signed provenance, read back by C2PA's own reader."""

from __future__ import annotations

import json
from io import BytesIO
from pathlib import Path

import handmade
import pytest

from surrogate.cli import main
from surrogate.errors import WrongUse
from surrogate.handover.site import publish
from surrogate.handover.site.provenance import STATEMENT, Signing, SigningKey
from surrogate.records import Use

c2pa = pytest.importorskip("c2pa")
signing_key = pytest.importorskip("signing_key")


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> SigningKey:
    return SigningKey(*signing_key.write(tmp_path_factory.mktemp("keys")))


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


def test_signing_from_the_command_line(tmp_path: Path, key: SigningKey, capsys: pytest.CaptureFixture[str]) -> None:
    handmade.build(tmp_path / "c", 1)
    command = ["publish", str(tmp_path / "c"), "--to", str(tmp_path / "s")]
    assert main([*command, "--sign-with", str(key.certificates), str(key.key)]) == 0
    picture = (tmp_path / "s/iiif/2026-001-0001_r/full/max/0/default.jpg").read_bytes()
    assert {status["code"] for status in told(picture)["validation_status"]} == {"signingCredential.untrusted"}
    inside = tmp_path / "c/key.pem"
    inside.write_bytes(key.key.read_bytes())
    assert main([*command, "--sign-with", str(key.certificates), str(inside)]) == 2
    assert "outside" in capsys.readouterr().err


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
