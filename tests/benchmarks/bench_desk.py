"""The desk with many originals: first cards, search beside a bare full-text query, memory, scrolling.

Run: ``python tests/benchmarks/bench_desk.py [ORIGINALS]`` (default 100,000). Targets: first cards at most 1.0 s; search
at most 0.2 s (median) and at most 3 times a bare SQLite FTS5 query that counts and takes the first page; memory at most
300 MB; no long task above 50 ms while scrolling (Chromium's Long Tasks API).
"""

from __future__ import annotations

import http.client
import json
import random
import re
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.parse import urlencode

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from browser import Browser, chromium_missing

from surrogate import exporting
from surrogate.collection import settings
from surrogate.collection.catalogue import OriginalRow, open_catalogue
from surrogate.collection.search_index import FILE_NAME, SearchIndex
from surrogate.desk.shelf import CARDS_ON_A_PAGE, View, entry_from
from surrogate.records import Condition, Fade, Grade, Kind, Master, Side, Stain

SYLLABLES = ("ba", "do", "ke", "li", "mo", "nu", "pra", "ste", "tor", "wen", "ris", "hol", "gar", "fel", "um", "an")
SEARCHES = 40

#: Fields saved one after the other, with a tenth of a second between: longer than the sheet takes.
SAVES = 60


def word(number: int) -> str:
    """A word by its rank."""
    made = ""
    number += 1
    while number:
        number, syllable = divmod(number, len(SYLLABLES))
        made += SYLLABLES[syllable]
    return made


def text(chance: random.Random, words: int) -> str:
    """Words with the frequencies of natural text (Zipf's law over 50,000 ranks)."""
    return " ".join(word(int(50_000 ** chance.random()) - 1) for _ in range(words))


def build(folder: Path, count: int) -> None:
    """``count`` originals put straight into a catalogue; half of them have words."""
    folder.mkdir()
    settings.write_first(folder, 2026)
    chance = random.Random(1)
    names = [f"{word(chance.randrange(9000)).title()} {word(chance.randrange(9000)).title()}" for _ in range(3000)]
    faded = Fade(grade=Grade.SLIGHT, density_min=(0, 0, 0), density_max=(1, 1, 1), density_loss=None, uncertainty=None)
    stained = Stain(grade=Grade.NONE, area_fraction=0.0, yellowness_index=1.0, base_lab=(90, 0, 2))
    condition = Condition(side=Side.RECTO, fade=faded, stain=stained).model_dump_json()
    captions, masters, conditions = [], [], []
    with open_catalogue(folder) as catalogue, catalogue.transaction():
        for number in range(count):
            reference = f"2026.{number // 5000 + 1:03}.{number % 5000 + 1:04}"
            catalogue.keep_number(reference, None)
            catalogue.put_original(OriginalRow(reference, Kind.SILVER_PRINT, 0.9, "picture"))
            master = Master(
                side=Side.RECTO,
                file=f"masters/{number}.tif",
                sha256=f"{number:064x}",
                bytes=9,
                width=6000,
                height=4000,
                bits=8,
                ppi=600,
                profile=None,
                scanned_as=f"scan {number}.tif",
            )
            masters.append((reference, "recto", master.sha256, 0, 1, master.model_dump_json()))
            conditions.append((reference, "recto", "2026-01-01", "bench", master.sha256, condition))
            cells = {"file": master.scanned_as, "reference": reference, "side": "recto"}
            if number % 2:
                cells |= {
                    "title": text(chance, 4),
                    "caption": text(chance, 20),
                    "date": str(chance.randrange(1890, 1990)),
                }
                cells |= {"people": "; ".join(names[int(3000 ** chance.random()) - 1] for _ in range(2))}
                cells |= {"place": names[int(300 ** chance.random()) - 1], "box": str(number // 200)}
            record = {column: cell for column, cell in cells.items() if column in {"title", "caption"}}
            captions.append((reference, "recto", json.dumps(record), json.dumps(cells), json.dumps(cells)))
    with closing(sqlite3.connect(folder / "catalogue.sqlite")) as db, db:
        db.executemany("INSERT INTO masters VALUES (?, ?, ?, ?, ?, ?)", masters)
        db.executemany("INSERT INTO conditions VALUES (?, ?, ?, ?, ?, ?)", conditions)
        db.executemany("INSERT INTO captions VALUES (?, ?, ?, ?, ?)", captions)
    with open_catalogue(folder) as catalogue:
        exporting.refresh_sheet(folder, catalogue)


@contextmanager
def served(folder: Path) -> Iterator[tuple[subprocess.Popen[str], int, str, float]]:
    """(process, port, key, when it was started) of a desk in a process of its own."""
    code = "import sys; from pathlib import Path; from surrogate.desk import desk; desk(Path(sys.argv[1]))"
    started = time.monotonic()
    with subprocess.Popen([sys.executable, "-c", code, str(folder)], stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        found = re.search(r":(\d+)/\?key=([\w-]+)", server.stdout.readline())
        assert found is not None
        try:
            yield server, int(found[1]), found[2], started
        finally:
            server.kill()


def get(port: int, path: str, cookie: str) -> tuple[bytes, str, float]:
    """(body, cookie set, seconds) of one request."""
    start = time.perf_counter()
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=300)
    line.request("GET", path, headers={"cookie": cookie})
    answer = line.getresponse()
    body = answer.read()
    line.close()
    return body, (answer.getheader("set-cookie") or "").split(";")[0], time.perf_counter() - start


def cpu_s(process: int) -> float:
    """CPU seconds that a process has used (proc(5): fields 14 and 15, in hundredths)."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / 100


def memory_mb(process: int) -> float:
    """Largest resident set of a process in MB (proc(5): VmHWM)."""
    found = re.search(r"VmHWM:\s+(\d+) kB", Path(f"/proc/{process}/status").read_text())
    return int(found[1]) / 1000 if found else 0.0


def first_cards(folder: Path, what: str) -> None:
    """Print how long it takes from starting the desk to the first cards."""
    with served(folder) as (server, port, key, started):
        _, cookie, _ = get(port, f"/?key={key}", "")
        before = cpu_s(server.pid)
        body, _, waited = get(port, "/", cookie)
        seconds, used = time.monotonic() - started, cpu_s(server.pid)
        cards = body.count(b'class="name"')
        print(
            f"first {cards} cards {what}: {seconds:.2f} s after the start, {used:.2f} s CPU; "
            f"the page alone {waited:.2f} s, {used - before:.2f} s CPU (target 1.0 s)"
        )


def searches(folder: Path) -> None:
    """Print what a search costs, beside the same question to the full-text table alone."""
    chance = random.Random(2)
    asked = [text(chance, chance.choice((1, 1, 2))) for _ in range(SEARCHES)]
    index = SearchIndex(folder, entry_from)
    ours, bare = [], []
    with closing(sqlite3.connect(folder / FILE_NAME)) as db:
        for words in asked:
            query = View(words=words).query(None)
            match = " AND ".join(f'"{each}"*' for each in words.split())
            ours.append(min(_seconds(lambda query=query: index.find(query, 0, CARDS_ON_A_PAGE)) for _ in range(3)))
            bare.append(min(_seconds(lambda match=match: _bare(db, match)) for _ in range(3)))
    ratio = statistics.median(ours) / statistics.median(bare)
    own, least = statistics.median(ours) * 1000, statistics.median(bare) * 1000
    print(f"search alone: median {own:.1f} ms, bare FTS {least:.1f} ms, "
          f"ratio {ratio:.2f} (target 3)")  # fmt: skip
    with served(folder) as (server, port, key, _):
        _, cookie, _ = get(port, f"/?key={key}", "")
        get(port, "/", cookie)
        before = cpu_s(server.pid)
        waited = [get(port, "/?" + urlencode({"q": words}), cookie)[2] for words in asked]
        used = (cpu_s(server.pid) - before) / len(asked)
        print(
            f"search, whole page: median {statistics.median(waited) * 1000:.0f} ms, "
            f"mean CPU {used * 1000:.0f} ms (target 200)"
        )
        print(f"memory after {SEARCHES} searches: {memory_mb(server.pid):.0f} MB (target 300)")
        token = re.search(rb'name="token" value="([^"]+)"', get(port, "/original/2026-001-0002", cookie)[0])
        assert token is not None
        took = []
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=300)
        form = {"cookie": cookie, "content-type": "application/x-www-form-urlencoded", "x-desk": "field"}
        before, size = "", (folder / "captions.csv").stat().st_mtime_ns
        while len(took) < SAVES:  # the caption sheet is written behind the first of them
            body = urlencode({"token": token[1].decode(), "notes": f"x{len(took)}", "before_notes": before})
            start = time.perf_counter()
            line.request("POST", "/original/2026-001-0002", body, form)
            line.getresponse().read()
            took.append(time.perf_counter() - start)
            before = f"x{len(took) - 1}"
            time.sleep(0.1)
        written = (folder / "captions.csv").stat().st_mtime_ns != size
        print(f"{SAVES} fields saved while the caption sheet {'was' if written else 'was not'} written: median "
              f"{statistics.median(took) * 1000:.0f} ms, longest {max(took) * 1000:.0f} ms")  # fmt: skip
        get(port, "/", cookie)
        time.sleep(15)
        print(f"memory after saving: {memory_mb(server.pid):.0f} MB (target 300)")


def _bare(db: sqlite3.Connection, match: str) -> None:
    db.execute("SELECT COUNT(*) FROM words WHERE words MATCH ?", (match,)).fetchone()
    db.execute("SELECT rowid, title FROM words WHERE words MATCH ? LIMIT ?", (match, CARDS_ON_A_PAGE)).fetchall()


def _seconds(what: Callable[[], object]) -> float:
    start = time.perf_counter()
    what()
    return time.perf_counter() - start


def scrolling(folder: Path) -> None:
    """Print the longest task of the page while it is scrolled through from top to end."""
    with served(folder) as (_, port, key, _), Browser() as browser:
        browser.open(f"http://127.0.0.1:{port}/?key={key}")
        browser.run(
            "window.tasks = []; window.frames = [];"
            "new PerformanceObserver(list => tasks.push(...list.getEntries().map(each => each.duration)))"
            ".observe({type: 'longtask'})"
        )
        browser.run(
            "window.done = false; let n = 0, last = performance.now();"
            " const end = document.documentElement.scrollHeight;"
            "requestAnimationFrame(function step(now) { frames.push(now - last); last = now;"
            " n++; scrollTo(0, n < 300 ? n * 40 : (n - 300) / 300 * end);"
            " if (n < 600) requestAnimationFrame(step); else window.done = true; })"
        )
        browser.wait_for("window.done", 120)
        browser.wait_for(
            "document.querySelector('.chunk:last-child').getBoundingClientRect().bottom < 2 * innerHeight"
            " && document.querySelectorAll('.chunk').length > 2",
            60,
        )
        tasks = browser.run("return tasks")
        late = browser.run("return frames.slice(5).filter(each => each > 20).length / (frames.length - 5)")
        kept = browser.run("return document.querySelectorAll('.cards li').length")
        longest = max(tasks, default=0)
        print(f"scrolling through all: longest task {longest:.0f} ms (target 50), {len(tasks)} above 50 ms, "
              f"frames later than 20 ms {late:.1%}, cards in the document at the end {kept}")  # fmt: skip


def main() -> None:
    """Print the figures."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    with tempfile.TemporaryDirectory() as parent:
        folder = Path(parent) / "collection"
        build(folder, count)
        print(f"{count:,} originals")
        first_cards(folder, "without an index")
        start, cpu = time.perf_counter(), time.process_time()
        SearchIndex(folder, entry_from).catch_up()
        print(f"index made in {time.perf_counter() - start:.0f} s, {time.process_time() - cpu:.0f} s CPU, once")
        first_cards(folder, "with an index")
        searches(folder)
        if chromium_missing():
            print("chromium is not installed: scrolling was not measured")
        else:
            scrolling(folder)


if __name__ == "__main__":
    main()
