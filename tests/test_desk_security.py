"""Attacks on the desk, from the OWASP Web Security Testing Guide's chapters on path traversal (ATHZ-01), session
management (SESS-02, SESS-05), cross-site scripting (INPV-01, INPV-02) and host header injection (INPV-17); from memory.
"""

from __future__ import annotations

import random
import re
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlencode

import pytest
from desk_collection import FIRST, KEY, Client, build, unlimited

from surrogate.collection.catalogue import open_catalogue
from surrogate.desk import desk
from surrogate.errors import CollectionUnusable, WrongUse
from surrogate.records import Side


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return build(tmp_path / "collection")


@pytest.fixture
def client(folder: Path) -> Client:
    return Client(folder).enter()


def test_the_key_opens_once_and_the_cookie_is_strict(folder: Path) -> None:
    visitor = Client(folder)
    assert visitor.get("/").status_code == 403
    assert visitor.get("/?key=wrong").status_code == 403
    answer = visitor.get(f"/?key={KEY}")
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert KEY not in answer.headers["location"]
    assert visitor.get("/").status_code == 200
    second = Client(folder)
    second.app = visitor.app
    assert second.get(f"/?key={KEY}").status_code == 403


@pytest.mark.parametrize(
    "path",
    [
        *("/", "/cards", "/questions", "/original/2026-001-0001", "/original/2026-001-0001/closer", "/date", "/known"),
        *("/picture/2026-001-0001/recto/viewing", "/preview/2026-001-0001/recto", "/tile/2026-001-0001/recto/0/0/0"),
        *("/found/2026-001-0001/recto", "/marks/2026-001-0001/recto", "/desk.css", "/original.js", "/gone"),
    ],
)
def test_nothing_without_the_cookie(folder: Path, path: str) -> None:
    visitor = Client(folder)
    assert visitor.get(path).status_code == 403
    visitor.cookies = {next(iter(Client(folder).enter().cookies)): "forged"}
    assert visitor.get(path).status_code == 403


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example", "evil.example:8765", "localhost@evil.example", "", "127.0.0.1:x"]
)
def test_other_host_names_are_refused(client: Client, host: str) -> None:
    assert client.get("/", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("name", ["127.0.0.1:8765", "localhost:8765", "127.0.0.1"])
def test_own_host_names_are_taken(client: Client, name: str) -> None:
    assert client.get("/", headers={"host": name}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_forms_from_elsewhere_are_refused(client: Client, headers: dict[str, str]) -> None:
    assert client.save(title="x", before_title="Boat 1", headers=headers).status_code == 403
    assert "Boat 1" in client.get("/").text


def test_forms_need_the_token_the_right_type_and_a_small_body(client: Client) -> None:
    token, client.token = client.token, "guessed"
    assert client.save(title="x", before_title="Boat 1").status_code == 403
    client.token = token
    assert client.save(title="x", headers={"content-type": "text/plain"}).status_code == 415
    assert client.save(title="x", headers={"content-type": "application/json"}).status_code == 415
    assert client.save(caption="x" * 10_001).status_code == 413
    assert client.save(caption="x" * 200_000).status_code == 413
    assert client.save(**{f"f{n}": "" for n in range(6000)}).status_code == 400
    assert "Boat 1" in client.get("/").text


@pytest.mark.parametrize(
    "path",
    [
        "/picture/../../etc/passwd",
        "/picture/..%2f..%2fcatalogue.sqlite/recto/viewing",
        "/picture/2026-001-0001/recto/../../../catalogue.sqlite",
        "/picture/2026-001-0001/recto/..%2f..%2f..%2fcatalogue.sqlite",
        "/picture/2026-001-0001/%2e%2e/viewing",
        "/picture/2026-001-0001/recto/viewing%00.jpg",
        "/picture/2026-001-0001/recto/print",
        "/picture/2026.001.0001/recto/viewing",
        "/picture/' OR 1=1 --/recto/viewing",
        "/picture/%ff%fe/recto/viewing",
        "/copies/2026-001/2026-001-0001_r_viewing.jpg",
        "/catalogue.sqlite",
        "//etc/passwd",
        "/original/..%2f..%2fcollection.toml",
        "/original/nobody",
        "/picture/",
    ],
)
def test_no_path_reaches_the_file_system(client: Client, path: str) -> None:
    assert client.get(path).status_code == 404


def test_a_picture_is_the_copy_and_a_poisoned_catalogue_cannot_lead_outside(client: Client, folder: Path) -> None:
    file = folder / "copies/2026-001/2026-001-0001_v_reading.jpg"
    answer = client.get("/picture/2026-001-0001/verso/reading")
    assert answer.content == file.read_bytes()
    assert answer.headers["content-type"] == "image/jpeg"
    secret = folder.parent / "secret.jpg"
    secret.write_bytes(b"secret")
    file.unlink()
    file.symlink_to(secret)
    assert client.get("/picture/2026-001-0001/verso/reading").status_code == 404
    file.unlink()
    assert client.get("/picture/2026-001-0001/verso/reading").status_code == 404


@pytest.mark.parametrize(
    "words",
    [
        "<script>alert(1)</script>",
        '" autofocus onfocus="alert(1)',
        "</textarea><img src=x>",
        "{{ 7*7 }}{token}",
        "'><b>",
    ],
)
def test_captions_are_text_everywhere(client: Client, words: str) -> None:
    fields = ("title", "caption", "people", "place", "inscription", "notes", "date")
    before = {"title": "Boat 1", "people": "Ada Quill; Zoë Fenn", "place": "Hollinmere", "inscription": "For Ada"}
    given = dict.fromkeys(fields, words) | {f"before_{field}": text for field, text in before.items()}
    assert client.save(**given).status_code == 303
    for page in ("/", "/original/2026-001-0001", "/original/2026-001-0002"):
        text = client.get(page, params={"q": words} if page == "/" else {}).text
        outside_quotes = re.sub(r'"[^"<>]*"', '""', text)
        for forbidden in ("<script>alert", "onfocus=", "<img src=x", "'><b>"):
            assert forbidden not in outside_quotes.replace("&#34; autofocus onfocus=&#34;", "")
        assert "49" not in re.sub(r"\d{4}-.*?Z|\"[^\"]*\"", "", text)
        assert client.token not in re.sub(r'name="token" value="[^"]*"', "", text)
    assert "<script>alert" not in client.get("/", params={"q": words}).text


def test_every_answer_has_the_strict_headers(client: Client) -> None:
    for path in ("/", "/original/2026-001-0001", "/nothing", "/picture/2026-001-0001/recto/viewing", "/original.js"):
        headers = client.get(path).headers
        policy = headers["content-security-policy"]
        assert policy.startswith("default-src 'none'")
        assert "unsafe" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert "cache-control" in headers
        assert "access-control-allow-origin" not in headers
    page = client.get("/original/2026-001-0001").text
    assert " style=" not in page
    assert "<style" not in page
    assert re.findall(r"<script[^>]*>", page) == ['<script src="/original.js" defer>', '<script src="/faces.js" defer>']
    assert not re.search(r" on[a-z]+=", page)


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "TRACE", "OPTIONS"])
def test_other_methods_are_refused(client: Client, method: str) -> None:
    assert client.ask(method, "/original/2026-001-0001").status_code == 405


def test_random_requests_never_break_the_server(folder: Path) -> None:
    client = Client(folder, unlimited()).enter()
    rng = random.Random(20260101)
    pieces = (
        *("..", "%2e%2e", "%00", "%ff", "é", "'", "<x>", "&", "%", "a" * 300, "original", "picture", "2026-001-0001"),
        *("recto", "viewing", "date", "?q=", "?page=99999999999", "?lang=de", "?lacks=1", "?text=1952", "?key="),
    )
    kind = {"content-type": "application/x-www-form-urlencoded"}
    for _ in range(300):
        path = rng.choice(("/", "/original/", "/picture/")) + "/".join(rng.choices(pieces, k=rng.randint(0, 4)))
        body = bytes(rng.randrange(256) for _ in range(40)) + f"&token={client.token}&title=%ED%A0%80%00x".encode()
        answers = (client.get(path), client.ask("POST", path, content=body, headers=kind))  # raise if the app does
        assert all(answer.status_code in {200, 204, 303, 400, 403, 404, 405, 409} for answer in answers)


def test_an_acknowledged_edit_survives_a_kill(folder: Path) -> None:
    for number in range(3):
        with started(folder) as (server, base, key):
            browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
            browser.open(f"{base}?key={key}", timeout=10).close()
            with browser.open(f"{base}original/2026-001-0001", timeout=10) as page:
                text = page.read().decode()
            token, before = (re.search(f'name="{name}" value="([^"]*)"', text) for name in ("token", "before_notes"))
            assert token is not None
            assert before is not None
            fields = {"token": token[1], "notes": f"note {number}", "before_notes": before[1]}
            asked = urllib.request.Request(  # noqa: S310 (the desk's own address)
                f"{base}original/2026-001-0001", urlencode(fields).encode(), {"x-desk": "field"}
            )
            with browser.open(asked, timeout=10) as answer:
                assert b'"done":true' in answer.read()
            server.kill()  # perhaps while the caption sheet is being written
        with open_catalogue(folder) as catalogue:
            assert catalogue.caption(FIRST, Side.RECTO).notes == f"note {number}"


def test_trouble_is_a_sentence(client: Client, folder: Path) -> None:
    (folder / "catalogue.sqlite").write_bytes(b"this is no catalogue, and long enough to be seen as none" * 20)
    answer = client.get("/original/2026-001-0001")
    assert answer.status_code == 503
    assert "cannot be used" in answer.text
    assert "Traceback" not in answer.text
    assert FIRST not in answer.text


def test_wrong_use_is_a_sentence(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(CollectionUnusable, match="not a collection yet"):
        desk(tmp_path / "nowhere")
    assert not (tmp_path / "nowhere").exists()
    with socket.create_server(("127.0.0.1", 0)) as taken, pytest.raises(WrongUse, match="cannot be used"):
        desk(folder, taken.getsockname()[1])


@contextmanager
def started(folder: Path) -> Iterator[tuple[subprocess.Popen[str], str, str]]:
    """A desk in a process of its own, the address of its first page, and its key."""
    code = "import sys; from pathlib import Path; from surrogate.desk import desk; desk(Path(sys.argv[1]))"
    with subprocess.Popen([sys.executable, "-c", code, str(folder)], stdout=subprocess.PIPE, text=True) as server:
        try:
            assert server.stdout is not None
            found = re.fullmatch(r"Open (http://127\.0\.0\.1:\d+/)\?key=([\w-]{32})\n", server.stdout.readline())
            assert found is not None
            yield server, found[1], found[2]
        finally:
            server.terminate()
            assert server.stdout is not None
            assert server.stdout.read() == ""


def test_the_server_prints_one_line_and_listens_on_this_machine_only(folder: Path) -> None:
    with started(folder) as (_, base, _):
        with pytest.raises(urllib.error.HTTPError) as refused:
            urllib.request.urlopen(base, timeout=10)  # noqa: S310 (the desk's own address)
        assert refused.value.code == 403
        assert refused.value.headers["server"] is None
        refused.value.close()
        own = socket.gethostbyname(socket.gethostname())
        if not own.startswith("127."):
            with pytest.raises(OSError):
                socket.create_connection((own, int(base.split(":")[2].rstrip("/"))), timeout=2).close()
