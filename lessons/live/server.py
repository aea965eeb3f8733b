"""The server of the live page: this machine alone, one lesson, a token that only the page's address holds."""

from __future__ import annotations

import asyncio
import gc
import hmac
import json
import secrets
import sys
import time
from collections import deque
from collections.abc import Awaitable, Callable, Hashable
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager, suppress
from itertools import count
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect
from watchfiles import Change, awatch

from lessons.lesson.schema import schema_text
from lessons.live.desk import AHEAD, COMMAND, FILE, IDLE, WISH, Desk
from lessons.live.serve import HOST
from lessons.live.session import Page, Session, packed
from lessons.planning.sound import ENDINGS

PAGE = Path(__file__).parent / "page"
FILES = {
    "": ("index.html", "text/html; charset=utf-8"),
    "live.css": ("live.css", "text/css; charset=utf-8"),
    "icon.svg": ("icon.svg", "image/svg+xml"),
    **{f"{name}.js": (f"{name}.js", "text/javascript; charset=utf-8") for name in (
        "main", "wire", "lines", "plate", "screen", "strip", "hand", "filmed", "list", "text", "editor",
    )},
}  # fmt: skip
"""All that is served, by the names in the address."""
POLICY = "; ".join([
    "default-src 'none'", "script-src 'self'", "style-src 'self' 'nonce-{nonce}'", "connect-src 'self'",
    "img-src 'self' blob:", "media-src blob:", "frame-src 'self'", "base-uri 'none'", "form-action 'none'",
    "frame-ancestors 'none'",
])  # fmt: skip
HEADERS = {
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}
MOST_PAGES = 4
MOST_BYTES, MOST_TEXT_BYTES = 64_000, 1_100_000
MOST_A_SECOND = 500
HELLO_S = 5.0
MOST_FILM_BYTES = 200_000_000
UNSENT = 2
"""While so many messages wait to be sent to a page, its wishes wait too."""
ROUNDS = 3
"""What a page has sent has come when the loop has gone round so often: looked, read, handed on."""
QUIET_MS = 10
GONE_S = 0.4
"""A file that is not there for so long is told to be gone: editors take it away for a moment when they save."""

REFUSED, TOO_MANY, TOO_MUCH = 4403, 4429, 1009


class Line:
    """A page's socket as the desk sees it: messages are handed over, and counted until they are sent."""

    def __init__(self, loop: asyncio.AbstractEventLoop, desk: Desk) -> None:
        self.loop, self.desk = loop, desk
        self.queue: asyncio.Queue[bytes] = asyncio.Queue()
        self.unsent = 0
        self._wishes: dict[Hashable, Callable[[], None]] = {}
        self._heard = 0
        self._settling: asyncio.Task[None] | None = None

    def send(self, message: bytes) -> None:
        """Hand a message over, from any thread."""
        self.unsent += 1
        with suppress(RuntimeError):  # the loop has ended
            self.loop.call_soon_threadsafe(self.queue.put_nowait, message)

    def may_begin(self) -> bool:
        """True when what was sent before has gone."""
        return self.unsent < UNSENT

    def settle(self, key: Hashable, put: Callable[[], None]) -> None:
        """Lay a wish on the desk as soon as nothing more comes: of a burst none but the newest of a kind."""
        self._wishes[key] = put
        self._heard += 1
        if self._settling is None or self._settling.done():
            self._settling = self.loop.create_task(self._settle())

    async def _settle(self) -> None:
        heard = 0
        while heard != self._heard:
            heard = self._heard
            for _ in range(ROUNDS):
                await asyncio.sleep(0)
        wishes, self._wishes = self._wishes, {}
        for put in wishes.values():
            put()

    async def run(self, socket: WebSocket) -> None:
        """Send what is handed over."""
        while True:
            message = await self.queue.get()
            await socket.send_bytes(message)
            self.unsent -= 1
            self.desk.wake()


class Server:
    """What the routes share."""

    def __init__(self, session: Session, token: str, port: int, nonce: str) -> None:
        self.session, self.token, self.port, self.nonce = session, token, port, nonce
        self.desk = Desk()
        self.numbers = count(1)
        self.open_pages = 0
        self.loop: asyncio.AbstractEventLoop | None = None
        self.filming: asyncio.Task[None] | None = None
        self._is_other = asyncio.Event()
        session.on_named = self._named
        self._laid_out: dict[str, tuple[str, str]] = {}
        session.lay_out = self.lay_out
        self.beside = ThreadPoolExecutor(1, "aimgeo live sound")
        session.aside = self.beside.submit
        session.is_overtaken = lambda: self.desk.waits(_is_text)
        # a lesson is planned for long enough that a hand would stand still
        session.meanwhile = lambda: self.desk.between(_is_hand)
        session.soon = lambda key, work: self.desk.put(AHEAD, key, work)

    # -------------------------------------------------------------- the file

    def look(self, is_last: bool = False) -> None:
        """Read the file and take what it holds. What is gone for a moment is not told."""
        try:
            data: bytes | None = self.session.path.read_bytes()
        except OSError:
            data = None
        if (data is None or not data.strip()) and not is_last:
            if self.loop is not None:
                again = lambda: self.desk.put(FILE, "file", lambda: self.look(is_last=True))  # noqa: E731
                self.loop.call_soon_threadsafe(self.loop.call_later, GONE_S, again)
            return
        self.session.reload(data)

    async def watch(self) -> None:
        """Watch the folder: a file that is renamed over would be lost from sight."""
        folder = self.session.path.resolve().parent
        while True:
            await self._watch([folder], recursive=True)

    async def watch_elsewhere(self) -> None:
        """Watch the folders of files that the lesson names, and that do not lie below its own."""
        while True:
            self._is_other.clear()
            own = self.session.path.resolve().parent
            folders = {file.parent for file in self.session.named if own not in file.parents}
            there = [folder for folder in folders if folder.is_dir()]
            if there:
                await self._watch(there, recursive=False)
            else:
                await self._is_other.wait()

    async def _watch(self, folders: list[Path], recursive: bool) -> None:
        """Lay down what changes mean, until other folders are to be watched."""
        options: dict[str, Any] = {"debounce": 50, "step": QUIET_MS, "rust_timeout": 500}
        if not recursive:
            options["stop_event"] = self._is_other
        try:
            async for found in awatch(*folders, watch_filter=self._concerns, recursive=recursive, **options):
                if any(self._is_beside(Path(name)) for _, name in found):
                    self.desk.put(FILE, "beside", self.session.again)
                if any(self._is_lesson(Path(name)) for _, name in found):
                    self.desk.put(FILE, "file", self.look)
        except OSError:
            await asyncio.sleep(0.5)  # the folder itself is gone: look for it again

    def _concerns(self, change: Change, name: str) -> bool:
        return self._is_beside(Path(name)) or self._is_lesson(Path(name))

    def _is_lesson(self, path: Path) -> bool:
        own = self.session.path
        return path == own or path == own.resolve()

    def _is_beside(self, path: Path) -> bool:
        """True for a file that the lesson reads beside its own; any recording may be one of its folder's."""
        return path in self.session.named or path.suffix.lower() in ENDINGS

    def _named(self) -> None:
        if self.loop is not None:
            self.loop.call_soon_threadsafe(self._is_other.set)

    # -------------------------------------------------------------- pages

    async def page_socket(self, socket: WebSocket) -> None:
        """One page: its first message is the token, then its wishes."""
        if not self._is_own(socket.headers.get("host")) or not self._is_own_origin(socket.headers.get("origin")):
            await socket.close(REFUSED)
            return
        await socket.accept()
        if self.open_pages >= MOST_PAGES:
            await socket.close(TOO_MANY, "four pages are open; close one.")
            return
        self.open_pages += 1
        number = next(self.numbers)
        line = Line(asyncio.get_running_loop(), self.desk)
        sender: asyncio.Task[None] | None = None
        try:
            first = await asyncio.wait_for(_received(socket), HELLO_S)
            if not (isinstance(first, dict) and _same(first.get("token"), self.token)):
                await socket.close(REFUSED)
                return
            sender = asyncio.create_task(line.run(socket))
            # before anything that it wishes, a text that was typed while the server was away above all
            self.desk.put(FILE, ("join", number), lambda: self._joined(number, line, first))
            await self._wishes(socket, number, line)
        except (WebSocketDisconnect, TimeoutError, RuntimeError):
            with suppress(RuntimeError):
                await socket.close(REFUSED)
        except _TooMuch as much:
            with suppress(RuntimeError):
                await socket.close(much.code)
        finally:
            self.open_pages -= 1
            if sender is not None:
                sender.cancel()
            self.desk.put(COMMAND, ("leave", number), lambda: self.session.leave(number))

    def _joined(self, number: int, line: Line, hello: dict[str, Any]) -> None:
        page = self.session.join(number, line.send)
        page.clip, page.frame = _word(hello.get("clip")), _whole(hello.get("frame"))
        page.size_px = _size(hello.get("size_px")) or page.size_px
        page.is_plain = hello.get("paints") == "pictures"
        self.session.show(page, page.clip, page.frame)
        self.session.tell_clip(page, page.clip)

    async def _wishes(self, socket: WebSocket, number: int, line: Line) -> None:
        times: deque[float] = deque(maxlen=MOST_A_SECOND)
        while True:
            wish = await _received(socket)
            now = time.monotonic()
            if len(times) == MOST_A_SECOND and now - times[0] < 1.0:
                raise _TooMuch(TOO_MANY)
            times.append(now)
            if isinstance(wish, dict):
                self.lay_down(wish, number, line)

    def lay_down(self, wish: dict[str, Any], number: int, line: Line) -> None:
        """Lay a page's wish on the desk. What is no wish is passed over."""
        if wish.get("do") == "film" and self.filming is None:
            clip = self.session.clip(_word(wish.get("clip")))
            if clip is not None and self.session.why_no_film():
                line.send(
                    packed(
                        {"is": "film", "clip": clip.name, "sentence": self.session.why_no_film(), "is_done": True}
                    )
                )
            elif clip is not None:
                self.filming = asyncio.create_task(self.film(clip.name, line))
            return
        does = WISHES.get(_word(wish.get("do")))
        if does is None:
            return
        urgency, is_newest_only, run = does
        key = (number, wish["do"]) if is_newest_only else (number, wish["do"], next(self.numbers))

        def work() -> None:
            page = self.session.pages.get(number)
            if page is not None:
                run(self.session, page, wish)

        if urgency < WISH:
            self.desk.put(urgency, key, work)
        else:
            line.settle(key, lambda: self.desk.put(urgency, key, work, line.may_begin))

    async def film(self, name: str, line: Line) -> None:
        """Render one clip, as the command line does, and hand its file over."""
        path = self.session.path
        out = Path("clips") / "live" / path.stem
        told = {"is": "film", "clip": name}
        try:
            line.send(packed({**told, "sentence": f"{name} is being filmed.", "is_done": False}))
            command = [sys.executable, "-m", "lessons.cli", "render", str(path), "--only", name, "--out", str(out)]
            run = await asyncio.create_subprocess_exec(
                *command,
                stdin=asyncio.subprocess.DEVNULL,
                stdout=asyncio.subprocess.PIPE,
                stderr=asyncio.subprocess.STDOUT,
            )
            said, _ = await run.communicate()
            last = (said.decode("utf-8", "replace").strip().splitlines() or [""])[-1]
            files = sorted(out.glob(f"{name}.*")) if run.returncode == 0 else []
            film = next((file for file in files if file.suffix in (".mp4", ".mov", ".webm")), None)
            sentence = f"{film.as_posix()} is filmed." if film else f"Not filmed: {last}"
            body = film.read_bytes() if film and film.stat().st_size < MOST_FILM_BYTES else b""
            line.send(packed({**told, "sentence": sentence, "is_done": True}, body))
        finally:
            self.filming = None

    def _is_own(self, host: str | None) -> bool:
        return host in (f"{HOST}:{self.port}", f"localhost:{self.port}")

    def _is_own_origin(self, origin: str | None) -> bool:
        return origin is not None and self._is_own(origin.removeprefix("http://")) and origin.startswith("http://")

    # -------------------------------------------------------------- files

    async def file(self, request: Request) -> Response:
        """One of the page's own files."""
        found = FILES.get(request.path_params.get("name", ""))
        if found is None:
            return Response(status_code=404)
        name, kind = found
        content = (PAGE / name).read_bytes()
        if name == "index.html":
            content = content.replace(b"{nonce}", self.nonce.encode())
        policy = POLICY.format(nonce=self.nonce)
        return Response(content, headers={**HEADERS, "Content-Security-Policy": policy, "Content-Type": kind})

    def lay_out(self, html: str, policy: str) -> str:
        """Keep a page that is made for one who sent the token, to be fetched once; its address."""
        ticket = secrets.token_urlsafe(32)
        self._laid_out[ticket] = html, policy
        while len(self._laid_out) > MOST_PAGES:
            del self._laid_out[next(iter(self._laid_out))]
        return f"filmed/{ticket}"

    async def filmed(self, request: Request) -> Response:
        """A page that was laid out: it stands within the live page, and has a policy of its own."""
        html, policy = self._laid_out.pop(request.path_params["ticket"], ("", ""))
        if not html:
            return Response(status_code=404)
        policy += "; base-uri 'none'; form-action 'none'; frame-ancestors 'self'"
        kind = "text/html; charset=utf-8"
        return Response(html, headers={**HEADERS, "Content-Security-Policy": policy, "Content-Type": kind})

    async def _filmed(self, request: Request) -> Response:
        return await self.guard(request, self.filmed)

    async def guard(self, request: Request, call: Callable[[Request], Awaitable[Response]]) -> Response:
        """Nobody but this machine, by its own names."""
        if not self._is_own(request.headers.get("host")):
            return Response(status_code=403)
        return await call(request)

    async def _served(self, request: Request) -> Response:
        return await self.guard(request, self.file)

    def app(self) -> Starlette:
        """The application."""

        @asynccontextmanager
        async def lifespan(app: Starlette) -> Any:
            self.loop = asyncio.get_running_loop()
            self.desk.open()
            self.desk.put(FILE, "file", self.look)
            self.desk.put(IDLE, "first", self.session.prepare)
            self.desk.put(IDLE, "warm", warm_up)
            self.desk.put(IDLE, "steady", steady)
            watching = [asyncio.create_task(one()) for one in (self.watch, self.watch_elsewhere)]
            yield
            for one in watching:
                one.cancel()
            self.desk.close()
            self.beside.shutdown(wait=False, cancel_futures=True)

        return Starlette(
            routes=[
                Route("/", self._served),
                Route("/filmed/{ticket}", self._filmed),
                Route("/{name}", self._served),
                WebSocketRoute("/live", self.page_socket),
            ],
            lifespan=lifespan,
        )


def _is_text(key: Hashable) -> bool:
    """True for the key of work that brings another text."""
    return key in ("file", "beside") or (isinstance(key, tuple) and "draft" in key)


def _is_hand(key: Hashable) -> bool:
    """True for the key of a move of the hand."""
    return isinstance(key, tuple) and key[1:] == ("hand",)


def steady() -> None:
    """Look for garbage seldom: a plan makes many things that stay, and a look at all of them takes long."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(100_000, 10, 50)


def warm_up() -> None:
    """What is slow once and may be needed soon: the shaders' tile of cloth."""
    from scenes.plate.values import weave

    weave()


class _TooMuch(Exception):  # noqa: N818 - a signal within this module
    def __init__(self, code: int) -> None:
        self.code = code
        super().__init__(code)


async def _received(socket: WebSocket) -> Any:
    """A message as JSON; None for what is none."""
    text = await socket.receive_text()
    if len(text) > MOST_TEXT_BYTES:
        raise _TooMuch(TOO_MUCH)
    try:
        wish = json.loads(text)
    except (ValueError, RecursionError):
        return None
    if len(text) > MOST_BYTES and not (isinstance(wish, dict) and wish.get("do") in ("draft", "save")):
        raise _TooMuch(TOO_MUCH)
    return wish


def _same(told: Any, token: str) -> bool:
    return isinstance(told, str) and hmac.compare_digest(told.encode(), token.encode())


def _word(value: Any) -> str:
    return value if isinstance(value, str) else ""


def _whole(value: Any) -> int:
    return int(value) if isinstance(value, int | float) and abs(value) < 1e9 else 0


def _size(value: Any) -> tuple[int, int] | None:
    if isinstance(value, list) and len(value) == 2 and all(isinstance(v, int) and 16 <= v <= 8192 for v in value):
        return value[0], value[1]
    return None


def _show(session: Session, page: Page, wish: dict[str, Any]) -> None:
    is_other = _word(wish.get("clip")) not in ("", page.clip)
    session.show(
        page, _word(wish.get("clip")), _whole(wish.get("frame")), _size(wish.get("size_px")), _whole(wish.get("n"))
    )
    if is_other:
        session.tell_clip(page, page.clip)


def _ahead(session: Session, page: Page, wish: dict[str, Any]) -> None:
    session.ahead(page, _word(wish.get("clip")), _whole(wish.get("first")), _whole(wish.get("count")))


def _thumb(session: Session, page: Page, wish: dict[str, Any]) -> None:
    width = min(max(_whole(wish.get("width_px")), 32), 480)
    session.thumb(page, _word(wish.get("clip")), width)


def _shaders(session: Session, page: Page, wish: dict[str, Any]) -> None:
    from scenes.plate.values import CORNERS, PARTS, program, weave

    head = "#version 300 es\nprecision highp float;\nprecision highp int;\nprecision highp sampler2D;\n"
    tile = weave()
    told = {
        "is": "shaders",
        "programs": {part: program(part, head) for part in PARTS},
        "corners": CORNERS,
        "weave": tile.shape,
    }
    page.send(packed(told, tile.tobytes()))


def _hand(session: Session, page: Page, wish: dict[str, Any]) -> None:
    page.size_px = _size(wish.get("size_px")) or page.size_px
    session.hand(page, wish)


def _write(session: Session, page: Page, wish: dict[str, Any]) -> None:
    session.write(page)


def _effect(session: Session, page: Page, wish: dict[str, Any]) -> None:
    session.effect(page)


def _draft(session: Session, page: Page, wish: dict[str, Any]) -> None:
    if isinstance(wish.get("text"), str):
        session.type(wish["text"])


def _save(session: Session, page: Page, wish: dict[str, Any]) -> None:
    session.save(page, wish["text"] if isinstance(wish.get("text"), str) else None)


def _outside(session: Session, page: Page, wish: dict[str, Any]) -> None:
    session.settle(bool(wish.get("keeps")))


def _schema(session: Session, page: Page, wish: dict[str, Any]) -> None:
    page.send(packed({"is": "schema", "schema": json.loads(schema_text())}))


def _sound(session: Session, page: Page, wish: dict[str, Any]) -> None:
    session.sound(page, _word(wish.get("clip")))


def _png(session: Session, page: Page, wish: dict[str, Any]) -> None:
    width = _whole(wish.get("width_px"))
    session.png(
        page,
        _word(wish.get("clip")),
        _whole(wish.get("frame")),
        min(max(width, 160), 7680) // 2 * 2 if width else None,
    )


def _make(session: Session, page: Page, wish: dict[str, Any]) -> None:
    session.make(page, *(_word(wish.get(key)) for key in ("title", "file", "table", "cuts")))


def _paints(session: Session, page: Page, wish: dict[str, Any]) -> None:
    page.is_plain = wish.get("paints") == "pictures"
    session.show(page, page.clip, page.frame)


def _filmed(session: Session, page: Page, wish: dict[str, Any]) -> None:
    session.filmed(page, _whole(wish.get("which")), _word(wish.get("text")))


def _match(session: Session, page: Page, wish: dict[str, Any]) -> None:
    session.match(page, _whole(wish.get("which")), _word(wish.get("text")), _whole(wish.get("n")))


def _write_match(session: Session, page: Page, wish: dict[str, Any]) -> None:
    session.write_match(page, _whole(wish.get("which")), *(_word(wish.get(key)) for key in ("text", "version")))


Wish = Callable[[Session, Page, dict[str, Any]], None]
WISHES: dict[str, tuple[int, bool, Wish]] = {
    "show": (WISH, True, _show),
    "ahead": (AHEAD, True, _ahead),
    "thumb": (IDLE, False, _thumb),
    "hand": (WISH, True, _hand),
    "act": (COMMAND, False, _hand),
    "write": (COMMAND, False, _write),
    "effect": (AHEAD, True, _effect),
    "draft": (FILE, True, _draft),
    "save": (COMMAND, False, _save),
    "outside": (COMMAND, False, _outside),
    "schema": (COMMAND, True, _schema),
    "filmed": (COMMAND, True, _filmed),
    "match": (AHEAD, True, _match),
    "write_match": (COMMAND, False, _write_match),
    "sound": (AHEAD, True, _sound),
    "png": (COMMAND, True, _png),
    "make": (COMMAND, False, _make),
    "paints": (COMMAND, True, _paints),
    "shaders": (COMMAND, True, _shaders),
}
"""What a page may wish, by name: how urgent it is, whether only the newest counts, and what does it."""
