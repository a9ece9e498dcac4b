"""Provenance that anybody can check: each published picture carries a signed manifest of its origin (C2PA 2).

It says which master the copy was made from (by SHA-256), what the recipe did, in words, and that nothing was generated.
Needs the optional package ``c2pa-python`` and a signing key of the collection's own; without a key nothing is signed.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from threading import Lock
from typing import Any

from surrogate._version import __version__
from surrogate.errors import MissingTool, WrongUse
from surrogate.handover.site.shown import Item, Picture

#: Term of the IPTC NewsCodes "digital source type" for a scan whose tone and colour were changed by a formula.
SOURCE_TYPE = "http://cv.iptc.org/newscodes/digitalsourcetype/algorithmicallyEnhanced"

STATEMENT = "Made from a scan of an original. Tone and colour were changed by a recipe; no content was generated."

#: Signature algorithms of C2PA 2.1, 13.2, by the names that signing keys are known by.
ALGORITHMS = ("es256", "es384", "es512", "ps256", "ps384", "ps512", "ed25519")


@dataclass(frozen=True)
class SigningKey:
    """A key to sign with: PEM files of the certificate chain (signer first) and of the private key.

    ``algorithm`` is one of :data:`ALGORITHMS`; empty: the one that goes with the key.
    """

    certificates: Path
    key: Path
    algorithm: str = ""


def _algorithm_of(private: bytes) -> str:
    """The signature algorithm that goes with a private key; empty when it is none that C2PA takes."""
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives.asymmetric import ec, ed25519, rsa
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        key = load_pem_private_key(private, password=None)
    except (ValueError, TypeError, UnsupportedAlgorithm):
        return ""
    if isinstance(key, ec.EllipticCurvePrivateKey):
        return {256: "es256", 384: "es384", 521: "es512"}.get(key.curve.key_size, "")
    if isinstance(key, rsa.RSAPrivateKey):
        return "ps256"
    return "ed25519" if isinstance(key, ed25519.Ed25519PrivateKey) else ""


def claim(item: Item, picture: Picture) -> dict[str, Any]:
    """What is signed about a picture; only what its page says too, and the checksum of its master."""
    steps = [{"action": "c2pa.created", "digitalSourceType": SOURCE_TYPE, "description": STATEMENT}]
    steps += [{"action": "c2pa.color_adjustments", "description": words} for words in picture.words]
    steps.append({"action": "c2pa.published", "description": f"Published as {item.reference}"})
    origin = {"reference": item.reference, "master_sha256": picture.master_sha256, "statement": STATEMENT}
    return {
        "claim_generator_info": [{"name": "surrogate", "version": __version__}],
        "title": item.heading,
        "format": "image/jpeg",
        "assertions": [
            {"label": "c2pa.actions.v2", "data": {"actions": steps}},
            {"label": "org.surrogate.origin", "data": origin},
        ],
    }


class Signing:
    """An open signing key. ``digest`` tells keys apart without saying anything about them."""

    def __init__(self, key: SigningKey) -> None:
        """Open a key. Raises :class:`MissingTool` without the package, :class:`WrongUse` for an unusable key."""
        try:
            import c2pa
        except ImportError as error:
            raise MissingTool(
                "Signing needs the package c2pa-python. Install it with: pip install 'surrogate[origin]'"
            ) from error
        try:
            chain, private = key.certificates.read_bytes(), key.key.read_bytes()
        except OSError as error:
            raise WrongUse(f"{error.filename} cannot be read: {error.strerror}. Give the key's PEM files.") from error
        algorithm = key.algorithm or _algorithm_of(private)
        if not algorithm:
            raise WrongUse(f"{key.key} holds no private key to sign with. It must be a PEM file without a password.")
        if algorithm not in ALGORITHMS:
            raise WrongUse(f"{algorithm!r} is no signature algorithm. Choose one of {', '.join(ALGORITHMS)}.")
        self._c2pa = c2pa
        self._lock = Lock()
        self._context = c2pa.Context.from_dict({"builder": {"thumbnail": {"enabled": False}}})
        try:
            self._signer = c2pa.Signer.from_info(
                c2pa.C2paSignerInfo(alg=algorithm.encode(), sign_cert=chain, private_key=private, ta_url=None)
            )
        except c2pa.C2paError as error:
            raise WrongUse(
                f"{key.certificates} and {key.key} cannot be used to sign: {error}. They must be PEM files, the "
                "certificate for document or e-mail signing and issued by another one that is in the file too."
            ) from error
        self.digest = hashlib.sha256(chain).hexdigest()[:16]

    def signed(self, jpeg: bytes, item: Item, picture: Picture) -> bytes:
        """The JPEG with its signed manifest. Raises :class:`WrongUse` when the key does not sign."""
        target = BytesIO()
        with self._lock:
            try:
                builder = self._c2pa.Builder(json.dumps(claim(item, picture)), self._context)
                builder.sign(self._signer, "image/jpeg", BytesIO(jpeg), target)
            except self._c2pa.C2paError as error:
                raise WrongUse(
                    f"The picture {picture.key} could not be signed: {error}. Check the signing certificate."
                ) from error
        return target.getvalue()
