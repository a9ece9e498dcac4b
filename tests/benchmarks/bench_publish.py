"""Publishing: CPU over the floor of tile encoding, what one changed caption costs, and search among 100,000 items.

Run: ``python tests/benchmarks/bench_publish.py [ITEMS]``. Targets: 1.3 times the floor with copies of 2048 pixels;
second publish with one caption changed at most 5 s with 10,000 items; at most 300 kB loaded and 0.2 s for a query.
"""

from __future__ import annotations

import hashlib
import random
import resource
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import handmade
import numpy as np
import pyvips
from browser import Browser, chromium_missing
from PIL import Image

from surrogate.handover import manifest
from surrogate.handover.site import publish, search
from surrogate.handover.site.images import TILE_PX
from surrogate.handover.site.overview import Card
from surrogate.handover.site.publish import _static
from surrogate.handover.site.shown import Item, Picture
from surrogate.records import Manifest, Original, Use

SCRIPTS = "<script src=search.js defer></script><script id=start src=search/start.js defer></script>"

SYLLABLES = ("ba", "do", "ke", "li", "mo", "nu", "pra", "ste", "tor", "wen", "ris", "hol", "gar", "fel", "um", "an")


def cpu() -> float:
    """CPU seconds of this process, all threads."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def word(number: int) -> str:
    """A word by its rank."""
    made = ""
    number += 1
    while number:
        number, syllable = divmod(number, len(SYLLABLES))
        made += SYLLABLES[syllable]
    return made


def caption(chance: random.Random, words: int = 20) -> str:
    """Words with the frequencies of natural text (Zipf's law over 50,000 ranks)."""
    return " ".join(word(int(50_000 ** chance.random()) - 1) for _ in range(words))


def collection(folder: Path, count: int, long_edge_px: int) -> Manifest:
    """``count`` originals that share the files of one whose viewing copy has this size."""
    whole = handmade.build(folder, 1)
    first = whole.originals[0]
    detail = np.random.default_rng(1).integers(0, 255, (60, 80, 3), dtype=np.uint8)
    image = Image.fromarray(detail).resize((long_edge_px, long_edge_px * 3 // 4), Image.Resampling.BICUBIC)
    copies = []
    for copy in first.copies:
        if copy.use is Use.VIEWING:
            image.save(folder / copy.file, quality=88)
            digest = hashlib.sha256((folder / copy.file).read_bytes()).hexdigest()
            size = {"width": image.width, "height": image.height, "sha256": digest}
            copies.append(copy.model_copy(update=size))
        else:
            copies.append(copy)
    chance = random.Random(3)
    items = [
        first.model_copy(
            update={"reference": f"2026.{n // 1000:03}.{n % 1000:04}", "copies": copies, "caption": caption(chance)}
            | {"people": [f"{word(n % 500).title()} {word(n % 700).title()}"], "place": word(n % 90).title()}
        )
        for n in range(count)
    ]
    manifest.write(folder, whole.collection, whole.software, items, [])
    return whole.model_copy(update={"originals": items})


def floor(folder: Path, file: str, count: int) -> float:
    """CPU seconds to cut the tiles of one picture ``count`` times, and nothing else."""
    into = Path(tempfile.mkdtemp(dir=folder.parent))
    start = cpu()
    for number in range(count):
        image = pyvips.Image.new_from_file(str(folder / file), access="sequential", fail_on="error")
        image.dzsave(str(into / str(number)), layout="iiif3", tile_size=TILE_PX, suffix=".jpg[Q=85,keep=none]")
    return cpu() - start


def over_the_floor(count: int) -> None:
    """CPU of publishing copies of 2048 pixels, over cutting their tiles alone, half before and half after."""
    with tempfile.TemporaryDirectory() as name:
        whole = collection(Path(name, "c"), count, 2048)
        viewing = next(copy.file for copy in whole.originals[0].copies if copy.use is Use.VIEWING)
        handmade.build(Path(name, "warm"), 1)
        publish(Path(name, "warm"), Path(name, "w"))  # templates are compiled once, however many items there are
        least = floor(Path(name, "c"), viewing, count // 2)
        start = cpu()
        publish(Path(name, "c"), Path(name, "s"))
        ours = cpu() - start
        least += floor(Path(name, "c"), viewing, count - count // 2)
        print(f"{count} items of 2048 px: {1000 * ours / count:.0f} ms CPU each, {ours / least:.2f} times the floor")


def one_caption(count: int) -> None:
    """Wall time of the second publish after one caption changed."""
    with tempfile.TemporaryDirectory() as name:
        whole = collection(Path(name, "c"), count, 480)
        start, used = time.perf_counter(), cpu()
        publish(Path(name, "c"), Path(name, "s"))
        print(f"{count:,} items of 480 px, first time: {time.perf_counter() - start:.1f} s, {cpu() - used:.1f} s CPU")
        items: list[Original] = list(whole.originals)
        items[count // 2] = items[count // 2].model_copy(update={"caption": "The sail is being mended."})
        manifest.write(Path(name, "c"), whole.collection, whole.software, items, [])
        start = time.perf_counter()
        report = publish(Path(name, "c"), Path(name, "s"))
        print(f"one caption changed: {time.perf_counter() - start:.1f} s, {report.written} files written")
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"peak memory {peak:.0f} MB")


def fake_item(number: int, chance: random.Random) -> Item:
    """An item with a caption of 20 words; its picture is the same for all."""
    name = f"2026-{number // 10_000:03}-{number % 10_000:04}"
    seen = Picture(
        key="p", side="front", part=None, file="", sha256="", master_sha256="", width=1, height=1, thumbnail="",
        thumbnail_sha256="", before="", before_sha256="", words=(), text=(),
    )  # fmt: skip
    return Item(
        reference=name.replace("-", "."), name=name, kind="black-and-white print", title=f"{word(number % 9000)} day",
        caption=caption(chance), date="1952", when="1952", decade="1950s", people=(), subjects=(), place="",
        inscription="", creator="", credit="", rights="", same_picture_as=(), pictures=(seen,),
    )  # fmt: skip


def searching(count: int) -> None:
    """What one query loads, and how long it takes in Chromium."""
    with tempfile.TemporaryDirectory() as name:
        site = Path(name)
        start = cpu()
        chance = random.Random(9)
        items = [fake_item(number, chance) for number in range(count)]
        made = cpu()
        index = search.Index()
        for number, item in enumerate(items):
            index.add(number, item)
        cards = [Card(item.reference, item.name, item.heading, item.when, "p") for item in items]
        for piece in index.pieces(cards):
            (site / piece.path).parent.mkdir(exist_ok=True)
            with (site / piece.path).open("w", encoding="utf-8") as stream:
                piece.write(stream)
        print(f"index of {count:,} items: {cpu() - made:.1f} s CPU (items made in {made - start:.1f} s)")
        if chromium_missing():
            return
        (site / "search.js").write_text(_static("search.js"))
        page = "<!doctype html><meta charset=utf-8><title>x</title><input id=q><p id=told></p><ul id=hits></ul>"
        (site / "search.html").write_text(page + "<button id=further></button>" + SCRIPTS)
        queries = (word(0), word(40), word(4000), word(30_000)[:5], "1952", f"{word(3)} {word(900)}", "day", "b")
        print(f"{'query':24} {'kB':>6} {'ms':>6} {'found':>8}")
        with Browser() as browser:
            for query in queries:
                list(browser.requests())
                browser.open(f"{(site / 'search.html').as_uri()}?q={query}")
                browser.wait_for("document.body.dataset.ready !== undefined", 20)
                took = browser.run("return performance.getEntriesByName('found')[0].startTime")
                asked = [address for address in browser.requests() if "/search/" in address]
                size = sum((site / "search" / address.rpartition("/")[2]).stat().st_size for address in asked)
                told = browser.run("return document.getElementById('told').textContent").split(" ")[0]
                print(f"{query:24} {size / 1000:6.0f} {took:6.0f} {told:>8}")


def main(count: int = 10_000) -> None:
    """Print the table."""
    over_the_floor(100)
    searching(100_000)
    one_caption(count)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
