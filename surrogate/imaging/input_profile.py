"""A scanner's own ICC profile, for scans that embed none, checked before anything is read through it."""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass

from PIL import ImageCms

#: Profile classes that say what the numbers of a device mean: input, display, colour space (ICC.1:2022, 7.2.5).
_EXPLAINS = frozenset({b"scnr", b"mntr", b"spac"})


@dataclass(frozen=True)
class InputProfile:
    """Name (its description tag), SHA-256 and bytes of a profile; travels to workers, who then need no file."""

    name: str
    sha256: str
    content: bytes


def input_profile(content: bytes) -> InputProfile:
    """The profile that these bytes are. Raises ValueError with words that follow the file's name."""
    if content[36:40] != b"acsp":  # profile file signature (ICC.1:2022, 7.2.9)
        raise ValueError("is no ICC profile")
    if content[12:16] not in _EXPLAINS or content[16:20] != b"RGB ":
        raise ValueError("is an ICC profile, but not one of a scanner that gives red, green and blue")
    try:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(content))
        ImageCms.buildTransform(profile, ImageCms.createProfile("sRGB"), "RGB", "RGB")
        name = ImageCms.getProfileDescription(profile).strip() or "unnamed profile"
    except (ImageCms.PyCMSError, OSError, ValueError) as error:
        raise ValueError("is a damaged ICC profile") from error
    return InputProfile(name, hashlib.sha256(content).hexdigest(), content)
