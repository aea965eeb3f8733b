"""A live page's server in this process, and sockets to it."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import uvicorn
from websockets.sync.client import ClientConnection, connect

from lessons.live.serve import HOST, listen
from lessons.live.server import Server
from lessons.live.session import Session, unpacked

CHROMIUM = Path("/usr/bin/chromium")
FLAGS = [
    "--headless", "--no-sandbox", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--use-angle=swiftshader", "--enable-unsafe-swiftshader",
    "--autoplay-policy=no-user-gesture-required",
]  # fmt: skip
LESSON = """\
# Monday
title: Monday, half-ball hits
cuts: [3/4, 1/2]          # overlaps
distances: {near: 300 mm, far: 700 mm}
eyes:
  player: {back: 600 mm, height: 300 mm}
output: {size: 640x360, rate: 30}
clips:
  - kind: title
  - kind: build-up
    methods: [ghost-ball]
    sides: left
  - kind: players-eye
    methods: doubled-offset
    cuts: 1/2
    sides: left
    distances: near
"""
BUILD_UP = "ghost-ball_build-up_overlap-1-2_left_near"
EYE = "doubled-offset_players-eye_overlap-1-2_left_near_player"
TOKEN = "t" * 43
WAIT_S = 30.0
"""Longer than anything takes on a busy machine; what is waited for usually comes at once."""


class Live:
    """A running server."""

    def __init__(self, path: Path, port: int | None = None) -> None:
        self.path = path
        listening = listen(port)
        assert listening is not None
        self.port = listening.getsockname()[1]
        self.server = Server(Session(path, path.name), TOKEN, self.port, "nonce")
        config = uvicorn.Config(
            self.server.app(), log_level="error", ws="websockets-sansio", ws_per_message_deflate=False,
            timeout_graceful_shutdown=1,
        )  # fmt: skip
        self._uvicorn = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._uvicorn.run, kwargs={"sockets": [listening]}, daemon=True)
        self._thread.start()
        wait_for(lambda: self._uvicorn.started)

    @property
    def address(self) -> str:
        return f"http://{HOST}:{self.port}"

    def stop(self) -> None:
        self._uvicorn.should_exit = True
        self._thread.join(timeout=WAIT_S)

    def socket(self, **more: Any) -> ClientConnection:
        options = {"origin": self.address, "max_size": None, "compression": None} | more
        return connect(f"ws://{HOST}:{self.port}/live", **options).__enter__()

    def page(self, **hello: Any) -> Wire:
        socket = self.socket()
        socket.send(json.dumps({"token": TOKEN, **hello}))
        return Wire(socket)


class Wire:
    """A page that is no browser."""

    def __init__(self, socket: ClientConnection) -> None:
        self.socket = socket
        self.heard: list[dict[str, Any]] = []

    def wish(self, **wish: Any) -> None:
        self.socket.send(json.dumps(wish))

    def next(self, kind: str, fits: Callable[[dict[str, Any]], bool] = lambda head: True) -> dict[str, Any]:
        """The next message of a kind; those before it are kept in `heard`."""
        end = time.monotonic() + WAIT_S
        while True:
            head, body = unpacked(self.socket.recv(timeout=max(end - time.monotonic(), 0.01), decode=False))
            self.heard.append(head)
            if head["is"] == kind and fits(head):
                return head | {"body": body}

    def quiet(self, seconds: float = 0.4) -> None:
        """Take in all that comes until nothing does."""
        while True:
            try:
                head, _ = unpacked(self.socket.recv(timeout=seconds, decode=False))
            except TimeoutError:
                return
            self.heard.append(head)

    def close(self) -> None:
        self.socket.close()


def wait_for(claim: Callable[[], Any], seconds: float = WAIT_S) -> None:
    end = time.monotonic() + seconds
    while not claim():
        assert time.monotonic() < end, "never came"
        time.sleep(0.01)
