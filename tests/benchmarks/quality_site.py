"""Two published sites looked over whole: the demo's, and one of 200 items with hidden ones among them.

Run: ``python tests/benchmarks/quality_site.py``. Targets: zero of everything that is an error. Counted are addresses
on pages and in IIIF files that lead nowhere; tiles and sizes that ``info.json`` promises and that are missing or of
another size; errors of HTML (html5lib in strict mode; the Nu Html Checker too, where VNU_JAR names its jar);
violations of axe-core (WCAG 2.2 AA and its best practices), light on a desk and dark on a phone; complaints on
Chromium's console; and requests to elsewhere.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import handmade
from browser import Browser, chromium_missing
from html5lib.html5parser import ParseError
from PIL import Image
from test_handover_site import BASE, enlarge, local, promised, references, rewrite
from test_handover_site_browser import broken_pictures, with_text

from surrogate.demonstrating import demo
from surrogate.handover.site import publish

#: Pages of each folder that are opened in Chromium; links, tiles and HTML are checked on all.
OPENED = 6


def of_200(top: Path) -> Path:
    """A site of 200 items: sides, text, places on a map, people, private and closed ones."""
    whole = handmade.build(top / "c", 200)
    items = list(whole.originals)
    changed = [
        enlarge(top / "c", items[0], 1403, 1031).model_copy(update={"place": "Mill (54.3301, 10.1502)"}),
        with_text(top / "c", items[1], ("Regatta won", "by the ferry crew")),
        items[3].model_copy(update={"place": "Harbour (54.3213, 10.1349)", "people": ["Erna Holst (living)"]}),
        *(item.model_copy(update={"access": "private"}) for item in items[40:60]),
        items[60].model_copy(update={"access": "2100-01-01"}),
        *(item.model_copy(update={"title": text}) for item, text in zip(items[70:], handmade.HOSTILE, strict=False)),
    ]  # fmt: skip
    rewrite(top / "c", whole, *changed)
    (top / "c/collection.toml").write_text("[publish]\nbefore_and_after = true\n")
    publish(top / "c", top / "s", BASE)
    return top / "s"


def of_the_demo(top: Path) -> Path:
    """The site of the sample scans."""
    demo(top / "demo", workers=2)
    publish(top / "demo", top / "s", BASE)
    return top / "s"


def addresses_in(node: object) -> Iterator[str]:
    """Addresses of pictures, manifests, collections, pages and image services in a IIIF document."""
    if isinstance(node, dict):
        if node.get("type") in {"Image", "Manifest", "Collection", "Text"}:
            yield str(node["id"])
        if node.get("type") == "ImageService3":
            yield f"{node['id']}/info.json"
        for value in node.values():
            yield from addresses_in(value)
    elif isinstance(node, list):
        for value in node:
            yield from addresses_in(value)


def on_disk(site: Path) -> Counter[str]:
    """What can be told from the files alone."""
    count: Counter[str] = Counter({"pages": 0, "HTML errors": 0})
    asked: set[str] = set()
    for page in site.rglob("*.html"):
        count["pages"] += 1
        try:
            asked.update(references(site, page))
        except ParseError:
            count["HTML errors"] += 1
    for document in [*site.glob("iiif/*/manifest.json"), *site.glob("iiif/collection*.json")]:
        asked.update(addresses_in(json.loads(document.read_text("utf-8"))))
    outside = {address for address in asked if not address.startswith(BASE)}
    count["links elsewhere"] = len(outside)
    count["addresses"] = len(asked)
    count["broken"] = sum(not local(site, address).is_file() for address in asked - outside)
    for info in site.glob("iiif/*/info.json"):
        told = json.loads(info.read_text("utf-8"))
        sizes = [(f"full/{s['width']},{s['height']}/0/default.jpg", (s["width"], s["height"])) for s in told["sizes"]]
        for path, size in [*sizes, *((path, size) for path, _, size in promised(told))]:
            count["tiles and sizes"] += 1
            file = info.parent / path
            count["not as promised"] += not file.is_file() or Image.open(file).size != size
    return count


def in_chromium(site: Path) -> Counter[str]:
    """What only a browser can tell, on some pages of each kind."""
    count: Counter[str] = Counter()
    pages = [
        *sorted(site.glob("*.html")),
        *(p for f in sorted(site.glob("*/")) for p in sorted(f.glob("*.html"))[:OPENED]),
    ]
    with Browser() as browser:
        for width, scheme in ((1280, "light"), (360, "dark")):
            browser.resize(width, 800)
            browser.colours(scheme)
            list(browser.requests())
            for page in pages:
                browser.open(page)
                count["pages opened"] += 1
                count["pictures not shown"] += len(broken_pictures(browser))
                count["wider than the window"] += (
                    int(browser.run("return document.documentElement.scrollWidth")) > width
                )
                count["axe-core"] += len(browser.axe())
                count["console"] += len(browser.complaints())
            count["outside requests"] += sum(not a.startswith(site.as_uri()) for a in browser.requests())
    return count


def by_checker(site: Path) -> Counter[str]:
    """Errors that the Nu Html Checker reports, where its jar is named in VNU_JAR."""
    jar = os.environ.get("VNU_JAR")
    if not jar:
        return Counter()
    told = ["java", "-jar", jar, "--errors-only", "--skip-non-html", "--format", "json", str(site)]
    done = subprocess.run(told, capture_output=True, text=True, check=False)
    return Counter({"Nu Html Checker": len(json.loads(done.stderr)["messages"])})


def main() -> None:
    """Print the table."""
    for name, make in (("the demo's site", of_the_demo), ("200 items", of_200)):
        with tempfile.TemporaryDirectory() as folder:
            site = make(Path(folder))
            found = {**on_disk(site), **by_checker(site), **({} if chromium_missing() else in_chromium(site))}
            print(name)
            for what, number in found.items():
                print(f"  {what:28} {number:>8}")


if __name__ == "__main__":
    main()
