"""Run the live page's server until it is stopped, at an address that outlives a restart."""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import socket
import webbrowser
from importlib.util import find_spec
from itertools import count
from pathlib import Path

import click

HOST = "127.0.0.1"
PACKAGES = ("starlette", "uvicorn", "watchfiles", "websockets")
"""What the page needs beside aimgeo itself."""
TOKEN_BYTES = 32


def serve(lesson: Path | None, *, opens_browser: bool, port: int | None) -> None:
    """Serve a lesson's page. Raises ModuleNotFoundError where a package that it needs is missing."""
    for name in PACKAGES:
        if find_spec(name) is None:
            raise ModuleNotFoundError(f"No module named '{name}'", name=name)
    is_new = lesson is None
    if lesson is None:
        lesson = _free(Path.cwd())
    elif lesson.is_dir():
        raise click.ClickException(f"{lesson.as_posix()}: is a folder; name a lesson file in it.")
    elif not lesson.exists():
        raise click.ClickException(f"{lesson.as_posix()}: there is no such file; check the name.")
    token, listening = _address(lesson, port)
    number = listening.getsockname()[1]
    address = f"http://{HOST}:{number}/#{token}"
    what = f"A new lesson ({lesson.name}, when you save it)" if is_new else lesson.as_posix()
    click.echo(f"{what} is shown at\n  {address}\nCtrl-C ends it. Nothing is written until you say so.")
    if opens_browser:
        webbrowser.open(address)  # it starts while what follows is imported; the socket listens already
    _run(lesson, is_new, token, listening)


def _run(lesson: Path, is_new: bool, token: str, listening: socket.socket) -> None:
    import uvicorn

    from lessons.live.begin import begun
    from lessons.live.kept import cache_folder
    from lessons.live.server import Server
    from lessons.live.session import Session

    session = Session(lesson.resolve(), lesson.name if is_new else lesson.as_posix(), cache_folder())
    if is_new:
        session.type(begun(lesson.parent, "A new lesson", lesson.name, "9ft", "3/4, 1/2")[1])
    server = Server(session, token, listening.getsockname()[1], secrets.token_urlsafe(16))
    config = uvicorn.Config(
        server.app(),
        log_level="warning",
        ws="websockets-sansio",
        ws_per_message_deflate=False,
        ws_max_size=1_200_000,
        server_header=False,
        date_header=False,
        timeout_graceful_shutdown=1,
    )
    uvicorn.Server(config).run(sockets=[listening])


def _free(folder: Path) -> Path:
    """A file that is not there yet, for a new lesson."""
    taken = {path.name for path in folder.iterdir()}
    return folder / next(name for k in count(1) if (name := f"lesson{f'-{k}' * (k > 1)}.yaml") not in taken)


def _address(lesson: Path, port: int | None) -> tuple[str, socket.socket]:
    """Token and socket: those of the last time where they can be had, so that an open page goes on."""
    record = _record(lesson)
    token, last = secrets.token_urlsafe(TOKEN_BYTES), None
    try:
        told = json.loads(record.read_text("utf-8"))
        if isinstance(told["token"], str) and len(told["token"]) >= TOKEN_BYTES and isinstance(told["port"], int):
            token, last = told["token"], told["port"]
    except (OSError, ValueError, KeyError, TypeError):
        pass
    listening = listen(port) if port else (last and listen(last)) or listen(None)
    if not listening:
        raise click.ClickException(f"port {port} is taken; leave --port out for a free one.")
    if listening.getsockname()[1] != last:
        token = secrets.token_urlsafe(TOKEN_BYTES)
    _keep(record, token, listening.getsockname()[1])
    return token, listening


def listen(port: int | None) -> socket.socket | None:
    """A socket of this machine alone at a port, a free one when None; None when the port is taken."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name == "posix":  # elsewhere it would let two programs have one port
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((HOST, port or 0))
        listening.listen(64)
    except OSError:
        listening.close()
        return None
    return listening


def _record(lesson: Path) -> Path:
    """Where the address of a lesson's page is remembered, readable by its owner alone."""
    base = os.environ.get("XDG_STATE_HOME") or os.environ.get("LOCALAPPDATA") or str(Path.home() / ".local/state")
    name = hashlib.blake2b(str(lesson.resolve()).encode(), digest_size=10).hexdigest()
    return Path(base) / "aimgeo" / f"live-{name}.json"


def _keep(record: Path, token: str, port: int) -> None:
    try:
        record.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        part = record.with_suffix(".part")
        part.unlink(missing_ok=True)
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            json.dump({"token": token, "port": port}, file)
        os.replace(part, record)
    except OSError:
        pass  # the page still works; after a restart it is opened anew
