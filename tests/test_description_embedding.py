"""Words put into copies arrive, read by two programs that are not ours."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from surrogate.description.embed import Description, Embedder


@pytest.mark.parametrize("suffix", [".jpg", ".tif"])
def test_a_description_comes_back(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"copy{suffix}"
    Image.fromarray(np.zeros((16, 16, 3), np.uint8)).save(path, dpi=(300, 300))
    with Embedder() as embedder:
        embedder.write(path, Description(reference="2026.001.0001", title="Ferry 渡船", caption="a\nb"))
        assert embedder.read(path)["XMP-dc:Title"] == "Ferry 渡船"
    with Image.open(path) as image:
        assert round(image.info["dpi"][0]) == 300
