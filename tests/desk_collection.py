"""A small collection for the desk's tests, put straight into a catalogue, and a client without a network."""

from __future__ import annotations

import asyncio
import io
from pathlib import Path
from urllib.parse import urlencode

import httpx
from PIL import Image
from starlette.applications import Starlette

from surrogate import exporting
from surrogate.collection import settings
from surrogate.collection.catalogue import CopyRow, OriginalRow, open_catalogue
from surrogate.collection.numbering import name_of
from surrogate.description.sheet import caption_from
from surrogate.desk import create_app
from surrogate.desk.guard import Allowance, Limits
from surrogate.records import Copy, Kind, Master, Side, Use

KEY = "one-time-key-of-this-test"
FIRST, SECOND, THIRD = "2026.001.0001", "2026.001.0002", "2026.001.0003"


def build(folder: Path, more: int = 0) -> Path:
    """Three originals; the first has a back with a reading copy, and words on both sides. ``more`` have nothing."""
    folder.mkdir()
    settings.write_first(folder, 2026)
    with open_catalogue(folder) as catalogue:
        for number in (1, 2, 3):
            reference = f"2026.001.{number:04}"
            catalogue.keep_number(reference, None)
            catalogue.put_original(OriginalRow(reference, Kind.SILVER_PRINT, 0.9, "picture"))
            for side in (Side.RECTO, Side.VERSO) if number == 1 else (Side.RECTO,):
                uses = (Use.VIEWING, Use.THUMBNAIL, *((Use.READING,) if side is Side.VERSO else ()))
                sha = f"{number}{side.letter}".encode().hex().rjust(64, "0")
                file = f"masters/2026-001/{name_of(reference)}_{side.letter}.tif"
                master = Master(
                    side=side, file=file, sha256=sha, bytes=9, width=60, height=40, bits=8, ppi=300, profile=None,
                    scanned_as=f"scan {number}{side.letter}.tif",
                )  # fmt: skip
                catalogue.put_master(reference, master, complete=True)
                (folder / file).parent.mkdir(parents=True, exist_ok=True)
                Image.radial_gradient("L").resize((60, 40)).convert("RGB").save(folder / file)
                for use in uses:
                    copy = _copy(folder, reference, master, use)
                    catalogue.put_copy(CopyRow(copy, reference, "", ""))
                cells = {"file": master.scanned_as, "reference": reference, "side": side.value, "own column": "kept"}
                cells |= {"title": f"Boat {number}", "people": "Ada Quill; Zoë Fenn", "place": "Hollinmere"}
                if side is Side.VERSO:
                    cells |= {"title": "Back of the boat", "inscription": "For Ada"}
                catalogue.put_caption(reference, side, caption_from(cells, "", []), cells)
        for number in range(4, 4 + more):
            catalogue.keep_number(f"2026.001.{number:04}", None)
            catalogue.put_original(OriginalRow(f"2026.001.{number:04}", Kind.SILVER_PRINT, 0.9, "picture"))
        exporting.refresh_sheet(folder, catalogue)
    return folder


def _copy(folder: Path, reference: str, master: Master, use: Use) -> Copy:
    file = f"copies/2026-001/{name_of(reference)}_{master.side.letter}_{use.value}.jpg"
    (folder / file).parent.mkdir(parents=True, exist_ok=True)
    data = io.BytesIO()
    Image.new("RGB", (60, 40), (90, 80, 70)).save(data, "JPEG")
    (folder / file).write_bytes(data.getvalue())
    return Copy(
        use=use, side=master.side, part=None, file=file, sha256="0" * 64, width=60, height=40, recipe=None,
        master_sha256=master.sha256, fidelity=None,
    )  # fmt: skip


def unlimited() -> Limits:
    """Limits that no test reaches."""
    return Limits(Allowance(1e9, 1e9), Allowance(1e9, 1e9), Allowance(1e9, 1e9))


class Client:
    """Asks the desk without a network and keeps its cookies, as a browser would."""

    def __init__(self, folder: Path, limits: Limits | None = None) -> None:
        self.app: Starlette = create_app(folder, KEY, limits)
        self.cookies: dict[str, str] = {}
        self.token = ""

    def ask(self, method: str, address: str, **more: object) -> httpx.Response:
        async def once() -> httpx.Response:
            transport = httpx.ASGITransport(self.app)
            async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8765") as client:
                return await client.request(method, address, **more)  # type: ignore[arg-type]

        headers = {"cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())}
        more["headers"] = {**(headers if self.cookies else {}), **more.get("headers", {})}  # type: ignore[dict-item]
        answer = asyncio.run(once())
        self.cookies |= dict(answer.cookies)
        return answer

    def get(self, address: str, **more: object) -> httpx.Response:
        return self.ask("GET", address, **more)

    def enter(self) -> Client:
        """Open the one-time address and read the token from a page, as its forms hold it."""
        assert self.get(f"/?key={KEY}").status_code == 303
        page = self.get(f"/original/{name_of(FIRST)}").text
        self.token = page.split('name="token" value="')[1].split('"')[0]
        return self

    def save(self, reference: str = FIRST, headers: dict[str, str] | None = None, **fields: str) -> httpx.Response:
        """Send a form; a field's ``before_`` is what the caller says it showed, "" otherwise."""
        kind = {"content-type": "application/x-www-form-urlencoded"}
        body = urlencode({"token": self.token, **fields})
        return self.ask("POST", f"/original/{name_of(reference)}", content=body, headers={**kind, **(headers or {})})

    def post(self, address: str, **fields: str | tuple[str, ...]) -> httpx.Response:
        """Send any other form."""
        kind = {"content-type": "application/x-www-form-urlencoded"}
        body = urlencode({"token": self.token, **fields}, doseq=True)
        return self.ask("POST", address, content=body, headers=kind)
