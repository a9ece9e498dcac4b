"""The picture in docs/desk.md: the page of one original, seen by Chromium, from a finished demo collection.

python tests/make_desk_picture.py demo docs/pictures
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from browser import Browser
from PIL import Image

#: What the original that is shown is found by.
SEARCHED = "stall"
SERVE = "import sys; from pathlib import Path; from surrogate.desk import desk; desk(Path(sys.argv[1]))"


def main() -> None:
    target = Path(sys.argv[2]) / "desk.jpg"
    with tempfile.TemporaryDirectory() as parent:
        folder = Path(shutil.copytree(sys.argv[1], Path(parent) / "demo"))
        with subprocess.Popen([sys.executable, "-c", SERVE, str(folder)], stdout=subprocess.PIPE, text=True) as server:
            assert server.stdout is not None
            address = server.stdout.readline().split()[1]
            with Browser(width=1280, height=820) as browser:
                browser.open(address)
                base = browser.run("return location.origin")
                browser.open(f"{base}/?q={SEARCHED}")
                browser.open(browser.run("return document.querySelector('.cards a').href"))
                browser.wait_for("[...document.images].every(each => each.complete)", 60)
                browser.run("document.querySelector('[data-do=compare]').click()")
                browser.wait_for("document.querySelector('.over').complete", 60)
                picture = Path(parent) / "desk.png"
                browser.screenshot(picture)
            server.terminate()
        Image.open(picture).convert("RGB").save(target, quality=86, optimize=True)


if __name__ == "__main__":
    main()
