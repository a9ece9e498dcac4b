"""Start the desk on this machine."""

from __future__ import annotations

import contextlib
import os
import secrets
import socket
import sys
import threading
from pathlib import Path

import uvicorn

from surrogate.collection import paths
from surrogate.desk.pages import create_app
from surrogate.errors import CollectionUnusable, WrongUse

#: A scan larger than this is decoded into a temporary file while its tiles are cut, not into memory.
MOST_IN_MEMORY = "32m"


def desk(folder: Path, port: int = 0) -> None:
    """Serve a collection's desk on 127.0.0.1 until it is interrupted; port 0 takes any free one.

    Prints one line with the address that holds the one-time key. Raises CollectionUnusable where there is no
    collection and WrongUse where the port is taken.
    """
    if not (folder / paths.CATALOGUE).is_file():
        raise CollectionUnusable(f"{folder} is not a collection yet. Take scans in with `surrogate process` first.")
    os.environ.setdefault("VIPS_DISC_THRESHOLD", MOST_IN_MEMORY)
    key = secrets.token_urlsafe(24)
    app = create_app(folder, key)
    try:
        listening = socket.create_server(("127.0.0.1", port))
    except (OSError, OverflowError) as error:
        raise WrongUse(f"Port {port} cannot be used: {error}. Leave --port out, or choose another.") from error
    with contextlib.closing(listening):
        sys.stdout.write(f"Open http://127.0.0.1:{listening.getsockname()[1]}/?key={key}\n")
        sys.stdout.flush()
        app.state.late.load_in_a_moment()
        threading.Thread(target=app.state.room.index.wait, args=(0,), daemon=True).start()
        settings = uvicorn.Config(
            app,
            log_level="error",
            access_log=False,  # addresses hold search words
            server_header=False,
            lifespan="off",
            ws="none",
            timeout_graceful_shutdown=2,  # whatever was acknowledged is on the disk already
        )
        try:
            with contextlib.suppress(KeyboardInterrupt):
                uvicorn.Server(settings).run(sockets=[listening])
        finally:
            app.state.late.close()
            app.state.room.sheets.finish()
            app.state.room.index.catch_up()  # the next start has nothing to compare
