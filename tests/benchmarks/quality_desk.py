"""The desk's figures: attacks, random requests, kills while saving, accessibility, weight of a page.

Run: ``python tests/benchmarks/quality_desk.py [REQUESTS [KILLS]]``. Targets: 60 attacks and 0 through; 10,000 requests
and 0 server errors; 100 kills and 0 acknowledged edits lost; 0 violations; at most 300 kB.

The attacks follow the OWASP Web Security Testing Guide (from memory): ATHZ-01 traversal, SESS-02 and SESS-05 cookies
and cross-site requests, INPV-01 and INPV-02 cross-site scripting, INPV-05 SQL, INPV-15 request smuggling and splitting,
INPV-17 host header. Accessibility: axe-core's rules for WCAG 2.2 level AA.
"""

from __future__ import annotations

import http.client
import io
import os
import random
import re
import signal
import socket
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import quote, urlencode

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from browser import Browser, chromium_missing
from desk_collection import FIRST, Client, build, unlimited

from surrogate.collection.catalogue import open_catalogue
from surrogate.collection.numbering import name_of
from surrogate.desk import desk, sheets
from surrogate.desk.words import shown

NAME = name_of(FIRST)
FORM = {"content-type": "application/x-www-form-urlencoded"}
MARK = "mark-of-an-attack"

TRAVERSALS = [
    *(
        "/picture/../../etc/passwd",
        "/picture/..%2f..%2fcatalogue.sqlite/recto/viewing",
        "//etc/passwd",
        "/%2e%2e/etc/passwd",
    ),
    *(f"/picture/{NAME}/recto/../../../catalogue.sqlite", f"/picture/{NAME}/recto/..%2f..%2f..%2fcatalogue.sqlite"),
    *(f"/picture/{NAME}/%2e%2e/viewing", f"/picture/{NAME}/recto/viewing%00.jpg", f"/picture/{NAME}/recto/print"),
    *(
        "/catalogue.sqlite",
        "/captions.csv",
        "/.search.sqlite",
        "/masters/",
        "/sets/",
        "/static/desk.css",
    ),
    *(f"/marks/{NAME}/..%2f..", f"/scan/{NAME}/%2fetc%2fpasswd", "/tile/..%2f..%2fetc/recto/0/0/0"),
    *(f"/tile/{NAME}/recto/-1/0/0", f"/tile/{NAME}/recto/0/99999999999999999999/0", "/languages/en.toml", "/texts.py"),
    *("/picture/..\\..\\catalogue.sqlite/recto/viewing", "/original/%c0%ae%c0%ae", f"/original/{NAME}/outline/..%2f"),
]
HOSTS = [
    *("evil.example", "127.0.0.1.evil.example", "evil.example:8765", "localhost@evil.example", "", "127.0.0.1:x"),
    *("[::1]", "0", "127.0.0.1, evil.example", "127.0.0.1#evil.example", "2130706433"),
]
ELSEWHERE = [
    {"origin": "http://evil.example"},
    {"origin": "null"},
    {"origin": "http://127.0.0.1:9999"},
    {"origin": "https://127.0.0.1:8765"},
    {"origin": "http://127.0.0.1.evil.example:8765"},
    {"sec-fetch-site": "cross-site"},
    {"sec-fetch-site": "same-site"},
    {"sec-fetch-site": "none"},
    {"content-type": "text/plain"},
    {"content-type": "application/json"},
    {"content-type": "multipart/form-data; boundary=x"},
]
SCRIPTS = [
    *("<script>alert(1)</script>", '" autofocus onfocus="alert(1)', "</textarea><img src=x onerror=alert(1)>"),
    *("{{ 7*7 }}", "'><svg onload=alert(1)>", "javascript:alert(1)", "</title><script>alert(1)</script>"),
    *("<!--><script>alert(1)</script>-->", "\u2028<script>alert(1)</script>", "&lt;script&gt;&#x3c;script&#x3e;"),
]
QUERIES = ["' OR 1=1 --", '" OR "a"="a', "*", 'a" NEAR "b', "people : x", ") OR (", "\x00", "%' ESCAPE '"]


def attacks(folder: Path) -> Iterator[tuple[str, bool]]:
    """(name, whether it came through) of every attack that needs no socket."""
    client = Client(folder, unlimited()).enter()
    visitor = Client(folder, unlimited())
    secret = (folder / "catalogue.sqlite").read_bytes()[:16]
    for path in TRAVERSALS:
        answer = client.get(path)
        yield f"traversal {path}", answer.status_code == 200 or secret in answer.content or b"root:" in answer.content
    for host in HOSTS:
        yield f"host {host}", client.get("/", headers={"host": host}).status_code != 421
    for headers in ELSEWHERE:
        answer = client.save(notes=MARK, before_notes="", headers=headers)
        yield f"form with {headers}", answer.status_code < 400 or MARK in client.get(f"/original/{NAME}").text
    token, client.token = client.token, "guessed"
    yield "form with another token", client.save(notes=MARK, before_notes="").status_code < 400
    client.token = token
    for path in (
        "/undo",
        "/sets",
        f"/original/{NAME}/turn",
        f"/original/{NAME}/inspection",
        f"/original/{NAME}/pair",
        f"/original/{NAME}/pass-on",
    ):
        yield f"{path} by GET", client.get(path + f"?token={token}&name=x&by=left&side=recto").status_code == 200
        yield (
            f"{path} without a pass",
            visitor.ask("POST", path, content=f"token={token}", headers=FORM).status_code < 400,
        )
    for forged in ("", "x", "desk", "a%00b"):
        visitor.cookies = {next(iter(client.cookies)): forged}
        yield f"pass {forged!r}", visitor.get("/").status_code == 200
    yield "key used twice", client.app.state.room.keys.exchange("one-time-key-of-this-test") is not None
    before = dict(shown_of(folder))
    for script in SCRIPTS:
        for field in ("title", "people", "notes"):
            client.save(**{field: script, f"before_{field}": shown_of(folder)[field]})
        pages = [client.get(path, params={"q": script}).text for path in ("/", f"/original/{NAME}", "/questions")]
        yield f"script {script[:24]}", any(runs(page) for page in pages)
    for field in ("title", "people", "notes"):
        client.save(**{field: before[field], f"before_{field}": shown_of(folder)[field]})
    for query in QUERIES:
        yield (
            f"search {query!r}",
            client.get("/", params={"q": query, "person": query, "set": query}).status_code != 200,
        )
    for name in ("../../evil", "/evil", "..", "a\0b", "con/../x"):
        answer = client.post("/sets", name=name, act="in", card=NAME)
        yield f"set called {name!r}", answer.status_code < 400 or (folder.parent / "evil.txt").exists()
    for address in ("http://evil.example/", "//evil.example", "%0d%0aset-cookie:%20a=b"):
        location = client.post(f"/undo?q={quote(address)}").headers.get("location", "/")
        yield f"redirect to {address}", not location.startswith("/") or location.startswith("//") or "\n" in location


def shown_of(folder: Path) -> dict[str, str]:
    with open_catalogue(folder) as catalogue:
        return shown(catalogue, FIRST)


class _Markup(HTMLParser):
    """Looks for what a browser would run in a page."""

    def __init__(self) -> None:
        super().__init__()
        self.runs = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        own = tag != "script" or re.fullmatch(r"/\w+\.js", given.get("src", "")) is not None
        address = " ".join(given.get(name, "") for name in ("href", "src", "action", "formaction")).lower()
        handler = any(name.startswith("on") or name == "style" for name in given)
        self.runs |= not own or handler or tag in {"svg", "iframe", "object"} or "javascript:" in address


def runs(page: str) -> bool:
    """Whether a browser would run something in a page that is not the desk's own script."""
    parser = _Markup()
    parser.feed(page)
    return parser.runs or re.search(r"[>“]49[<”]", page) is not None


@contextmanager
def served(folder: Path) -> Iterator[tuple[int, int, str]]:
    """(process, port, key) of a desk in a process of its own, forked so that starting costs nothing."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.dup2(writing, 1)
        sys.stdout = io.TextIOWrapper(os.fdopen(1, "wb", closefd=False), line_buffering=True)
        try:
            desk(folder)
        finally:
            os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as said:
        found = re.search(r":(\d+)/\?key=([\w-]+)", said.readline())
        assert found is not None
        try:
            yield child, int(found[1]), found[2]
        finally:
            with suppress(ProcessLookupError):
                os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)


def enter(port: int, key: str) -> tuple[str, str]:
    """(cookie, token) of a first visit."""
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    line.request("GET", f"/?key={key}")
    cookie = line.getresponse().getheader("set-cookie", "").split(";")[0]
    line.close()
    line.request("GET", f"/original/{NAME}", headers={"cookie": cookie})
    token = re.search(r'name="token" value="([^"]+)"', line.getresponse().read().decode())
    line.close()
    assert token is not None
    return cookie, token[1]


def raw_attacks(folder: Path) -> Iterator[tuple[str, bool]]:
    """(name, whether it came through) of requests that no client library would send."""
    with served(folder) as (_, port, key):
        cookie, token = enter(port, key)
        own = f"Host: 127.0.0.1:{port}\r\nCookie: {cookie}\r\n"
        smuggled = f"POST /original/{NAME} HTTP/1.1\r\n{own}Content-Type: {FORM['content-type']}\r\n"
        body = urlencode({"token": "guessed", "notes": MARK, "before_notes": ""})
        inner = f"{smuggled}Content-Length: {len(body)}\r\n\r\n{body}"
        shapes = {
            "length and chunks": f"{own}Content-Length: 6\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n{inner}",
            "two lengths": f"{own}Content-Length: 0\r\nContent-Length: {len(inner)}\r\n\r\n{inner}",
            "hidden chunks": f"{own}Transfer-Encoding : chunked\r\n\r\n0\r\n\r\n{inner}",
            "odd chunks": f"{own}Transfer-Encoding: xchunked\r\n\r\n0\r\n\r\n{inner}",
            "folded header": f"{own}X: a\r\n Host: evil.example\r\nContent-Length: 0\r\n\r\n{inner}",
            "negative length": f"{own}Content-Length: -1\r\n\r\n{inner}",
            "bare line feeds": f"Host: 127.0.0.1:{port}\nCookie: {cookie}\nContent-Length: 0\n\n{inner}",
            "two hosts": f"{own}Host: evil.example\r\nContent-Length: 0\r\n\r\n{inner}",
            "zero byte": f"{own}X: a\0b\r\nContent-Length: 0\r\n\r\n{inner}",
        }
        for name, rest in shapes.items():
            ask(port, f"POST /original/{NAME} HTTP/1.1\r\nContent-Type: {FORM['content-type']}\r\n{rest}".encode())
            yield f"smuggling: {name}", shown_of(folder)["notes"] == MARK
        lines = {
            "whole address of another": f"GET http://evil.example/ HTTP/1.1\r\n{own}\r\n",
            "no version": "GET /\r\n\r\n",
            "no host": f"GET / HTTP/1.1\r\nCookie: {cookie}\r\n\r\n",
            "connect": f"CONNECT evil.example:80 HTTP/1.1\r\n{own}\r\n",
            "long line": f"GET /{'a' * 200_000} HTTP/1.1\r\n{own}\r\n",
            "long headers": f"GET / HTTP/1.1\r\n{own}X: {'a' * 400_000}\r\n\r\n",
            "upgrade": f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n\r\n",
        }
        for name, text in lines.items():
            answer = ask(port, text.encode())
            came = b" 200 " in answer[:20] and name != "whole address of another"
            yield f"line: {name}", came or b"Traceback" in answer
        yield (
            "still serving",
            b" 200 " not in ask(port, f"GET / HTTP/1.1\r\n{own}Connection: close\r\n\r\n".encode())[:20],
        )
        del token


def ask(port: int, data: bytes) -> bytes:
    """What the desk answers to these bytes, within a second."""
    with socket.create_connection(("127.0.0.1", port), timeout=1) as line:
        answer = b""
        try:
            line.sendall(data)
            while piece := line.recv(65536):
                answer += piece
        except OSError:
            pass
        return answer


def random_requests(folder: Path, count: int) -> tuple[int, dict[int, int]]:
    """(server errors, answers by status) of seeded random requests; an exception in the app is one too."""
    client = Client(folder, unlimited()).enter()
    rng = random.Random(20261125)
    pieces = (
        *(
            "..",
            "%2e%2e",
            "%00",
            "%ff",
            "é",
            "'",
            "<x>",
            "&",
            "%",
            "a" * 300,
            NAME,
            "recto",
            "verso",
            "viewing",
            "reading",
        ),
        *(
            "0",
            "1",
            "-1",
            "turn",
            "back",
            "outline",
            "closer",
            "alike",
            "pass-on",
            "inspection",
            "pair",
            "page",
            "desk.css",
        ),
    )
    starts = (
        *(
            "/",
            "/original/",
            "/picture/",
            "/tile/",
            "/found/",
            "/scan/",
            "/marks/",
            "/preview/",
            "/cards",
            "/questions",
        ),
        *("/known", "/date", "/sets", "/undo"),
    )
    one = f"/original/{NAME}"
    routes = (
        *("/", "/cards", "/questions", "/sets", "/date", "/known", "/undo", one, f"{one}/alike", f"{one}/pass-on"),
        *(
            f"{one}/closer",
            f"{one}/turn",
            f"{one}/inspection",
            f"{one}/pair",
            f"{one}/outline/recto",
            f"/preview/{NAME}/recto",
        ),
        *(
            f"/tile/{NAME}/recto/0/0/0",
            f"/found/{NAME}/verso",
            f"/marks/{NAME}/recto",
            f"/picture/{NAME}/recto/viewing",
        ),
    )
    words = (
        "",
        "1",
        "-7",
        "99999999999",
        "ä\u202e",
        "\x00",
        "[1",
        "until",
        "urgent",
        "colour-print",
        "x" * 9000,
        "a; b @ 1 1 1",
    )
    names = (
        *(
            "q",
            "page",
            "lang",
            "lacks",
            "set",
            "since",
            "worst",
            "kind",
            "first",
            "text",
            "field",
            "part",
            "strength",
            "tone",
        ),
        *(
            "title",
            "date",
            "people",
            "faces",
            "access",
            "until",
            "act",
            "card",
            "name",
            "side",
            "by",
            "finding",
            "p1x1",
            "whole",
        ),
    )
    statuses: dict[int, int] = {}
    for _ in range(count):
        path = rng.choice(starts) + "/".join(rng.choices(pieces, k=rng.randint(0, 4)))
        if rng.random() < 0.6:
            path = rng.choice(routes)
        fields = [(rng.choice(names), rng.choice(words)) for _ in range(rng.randint(0, 5))]
        try:
            if rng.random() < 0.4:
                token = [("token", client.token)] if rng.random() < 0.9 else []
                content = urlencode([*token, *fields], errors="replace").encode()
                if rng.random() < 0.1:
                    content += b"&" + rng.randbytes(40)
                status = client.ask("POST", path, content=content, headers=FORM).status_code
            else:
                status = client.get(f"{path}?{urlencode(fields)}").status_code
        except Exception as problem:  # noqa: BLE001 - whatever it is, the desk should have answered
            print(f"  {path}: {type(problem).__name__}: {problem}")
            status = 500
        statuses[status] = statuses.get(status, 0) + 1
    bad = sum(times for status, times in statuses.items() if status >= 500 and status != 503)
    return bad, dict(sorted(statuses.items()))


def kills(folder: Path, count: int) -> tuple[int, int]:
    """(acknowledged edits, edits lost) where the desk is killed at a seeded moment while it saves, ``count`` times."""
    rng = random.Random(20261126)
    acknowledged = lost = 0
    for _ in range(count):
        told = ""
        with served(folder) as (process, port, key):
            cookie, token = enter(port, key)
            end = time.monotonic() + rng.uniform(0.01, 0.25)
            before = shown_of(folder)["notes"]
            killer = os.fork()
            if killer == 0:
                time.sleep(max(0.0, end - time.monotonic()))
                os.kill(process, signal.SIGKILL)
                os._exit(0)
            while True:
                text = f"note {acknowledged}"
                body = urlencode({"token": token, "notes": text, "before_notes": before})
                line = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
                try:
                    line.request("POST", f"/original/{NAME}", body, {**FORM, "cookie": cookie, "x-desk": "field"})
                    done = b'"done":true' in line.getresponse().read()
                except (OSError, http.client.HTTPException):
                    break
                finally:
                    line.close()
                if done:
                    told = before = text
                    acknowledged += 1
            os.waitpid(killer, 0)
        kept = shown_of(folder)["notes"]
        lost += bool(told) and kept not in {told, text}
    return acknowledged, lost


def pages_in_browser(folder: Path) -> tuple[list[str], int]:
    """(violations over pages, states and both schemes, largest weight of a first view in bytes without pictures)."""
    found: list[str] = []
    heaviest = 0
    with served(folder) as (_, port, key):
        base = f"http://127.0.0.1:{port}"
        for number, (scheme, width) in enumerate((("light", 1280), ("dark", 1280), ("light", 360), ("dark", 640))):
            with Browser(width=width, scheme=scheme) as browser:
                if number == 0:
                    browser.open(f"{base}/?key={key}")
                    cookies = browser.cdp("Network.getAllCookies")["cookies"]
                browser.cdp("Network.enable")
                browser.cdp("Network.setCookies", cookies=[{**each, "url": base} for each in cookies])
                for page, act in STATES:
                    browser.open(base + page)
                    if act:
                        browser.run(act)
                        time.sleep(0.3)
                    found += [f"{scheme} {width} {page}: {line}" for line in browser.axe()]
                    if not browser.run("return document.documentElement.scrollWidth <= innerWidth"):
                        found.append(f"{scheme} {width} {page}: wider than the window")
                    weight = browser.run(
                        "return performance.getEntries().filter(e => ['navigation', 'resource'].includes(e.entryType)"
                        " && e.initiatorType !== 'img').reduce((sum, e) => sum + e.transferSize, 0)"
                    )
                    heaviest = max(heaviest, int(weight))
    return found, heaviest


OPEN = "for (const each of document.querySelectorAll('details')) each.open = true"
STATES = [
    ("/", ""),
    ("/?q=nothing+at+all", ""),
    ("/?lacks=1&first=urgent&set=x", OPEN),
    ("/questions", ""),
    (f"/original/{NAME}", ""),
    (f"/original/{NAME}?lang=de", OPEN),
    (f"/original/{name_of('2026.001.0002')}?lang=en", OPEN),
    (f"/original/{NAME}?lang=en", "document.querySelector('[data-do=compare]').click()"),
    (f"/original/{NAME}", "document.querySelector('[data-do=marks]').click()"),
    (f"/original/{NAME}", "for (const n of [0, 0]) document.querySelectorAll('#faces li button')[n].click()"),
    (f"/original/{NAME}/closer", ""),
    (f"/original/{NAME}/outline/recto", "document.getElementById('add').click()"),
    ("/gone", ""),
]


def main() -> None:
    """Print the figures."""
    requests = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    times = int(sys.argv[2]) if len(sys.argv) > 2 else 100
    with tempfile.TemporaryDirectory() as parent:
        folder = build(Path(parent) / "collection")
        tried = [*attacks(folder), *raw_attacks(folder)]
        through = [name for name, came in tried if came]
        print(f"attacks tried {len(tried)}, through {len(through)} (target 60, 0)")
        for name in through:
            print(f"  {name}")
        bad, statuses = random_requests(folder, requests)
        print(f"random requests {requests}, server errors {bad} (target 10,000, 0); answers {statuses}")
    with tempfile.TemporaryDirectory() as parent:
        acknowledged, lost = kills(build(Path(parent) / "collection"), times)
        print(f"kills {times}, edits acknowledged {acknowledged}, lost {lost} (target 100, 0 lost)")
    with tempfile.TemporaryDirectory() as parent:
        sheets.SMALL_BYTES = 0  # every caption sheet is written behind the desk's back, as a very large one is
        acknowledged, lost = kills(build(Path(parent) / "collection"), times)
        print(f"the same, sheets written behind: edits acknowledged {acknowledged}, lost {lost}")
    if chromium_missing():
        print("chromium is not installed: pages were not looked at")
        return
    with tempfile.TemporaryDirectory() as parent:
        found, heaviest = pages_in_browser(build(Path(parent) / "collection"))
        print(f"violations over {len(STATES)} pages and states, 4 schemes and sizes: {len(found)} (target 0)")
        for line in found[:10]:
            print(f"  {line}")
        print(f"heaviest first view without pictures {heaviest / 1000:.0f} kB (target 300)")


if __name__ == "__main__":
    main()
