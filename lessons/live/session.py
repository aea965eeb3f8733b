"""The work behind the page: a lesson file as it stands, its clips, and any frame of them as orders.

A session knows no browser and no network: bytes of the file and wishes come in, messages go out. All of it runs in
one thread, which owns fonts, boards and OpenGL.
"""

from __future__ import annotations

import hashlib
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import orjson

from aimgeo.methods import METHODS
from aimgeo.tables import TABLES
from lessons.lesson.faults import Fault, LessonError
from lessons.lesson.model import Lesson, loads
from lessons.lesson.write import FileChangedError, retold, save
from lessons.live.filming import Tried, match_files, page_of, tried, written
from lessons.live.follow import carried, followed, nearest, stem
from lessons.live.kept import Kept, Small
from lessons.live.moving import (
    STRIDES,
    Ground,
    Held,
    changes,
    construction_of,
    eye_of,
    held_of,
    moved,
    moves_of,
    nudged,
    rebased,
    rows,
    set_values,
    values_of,
    with_moves,
)
from lessons.live.named import named_files
from lessons.live.writing import Moved, Writing, why_lost, writing
from lessons.planning.expand import Request
from lessons.planning.plan import Overtaken, plan
from lessons.planning.planned import Plan, PlannedClip
from lessons.rendering.cache import digest, drawing_code
from scenes.board import Board
from scenes.board.brief import Brief
from scenes.draw.orders import Orders, needed
from scenes.figure.hand import SHAPES, SIDE, TABLE, HandBoard, Manner, hand_board, mm_at, side_at
from scenes.kinds import CLIP_KINDS
from scenes.look.look import Look

MOST_BOARDS = 10
MOST_PAGE_BYTES = 96_000_000
"""Of the parts that a page keeps; beyond it, what was shown longest ago is dropped."""
MOST_AHEAD = 90
MOST_SOUND_BYTES = 64_000_000

Message = bytes
Send = Callable[[Message], None]


MOST_UNDO = 100
WAITS_FOR_FAULT = "Nothing is written while the file has a fault: mend it first."


@dataclass(slots=True)
class Grasp:
    """A shot under a page's hand: as the file has it, as it is held, and what it was before each move."""

    clip: str
    lesson: Lesson
    brief: Brief
    ground: Ground
    base: Held
    held: Held
    undo: list[Held] = field(default_factory=list)
    redo: list[Held] = field(default_factory=list)
    said: str = ""
    gesture: Any = None
    manner: Manner | None = None
    pins: str = ""
    """Where the spot is written that the shot needs to stay as it is; see `changes`."""
    effect: tuple[Hashable, str] = ((), "")


@dataclass(slots=True)
class Page:
    """A page that is open: what it shows, and the parts that it has."""

    send: Send
    clip: str = ""
    frame: int = 0
    size_px: tuple[int, int] = (960, 540)
    have: OrderedDict[str, int] = field(default_factory=OrderedDict)
    grasp: Grasp | None = None
    orders: Orders | None = None
    scope: str = "lesson"
    shape: str = "wide"
    step: str = ""
    wish: int = 0
    clicks: int = 0
    is_plain: bool = False


@dataclass(frozen=True, slots=True)
class Read:
    """A file's text as it was read: the lesson and its plan, or its faults."""

    text: str
    version: str
    at_s: float
    lesson: Lesson | None = None
    plan: Plan | None = None
    faults: tuple[Fault, ...] = ()
    _keys: dict[str, str] = field(default_factory=dict)
    _named: dict[str, PlannedClip] = field(default_factory=dict)

    @property
    def clips(self) -> tuple[PlannedClip, ...]:
        """The clips, none where there are faults."""
        return self.plan.clips if self.plan is not None else ()

    def clip(self, name: str) -> PlannedClip | None:
        """A clip by its name."""
        if not self._named:
            self._named.update((clip.name, clip) for clip in self.clips)
        return self._named.get(name)

    def key(self, clip: PlannedClip) -> str:
        """What a clip's pictures depend on, as a digest; made once."""
        if self.clip(clip.name) is not clip:
            return _key(clip)
        if clip.name not in self._keys:
            self._keys[clip.name] = _key(clip)
        return self._keys[clip.name]


def packed(head: Mapping[str, Any], *parts: bytes) -> Message:
    """A message: the length of the head (u32, little-endian), a head of JSON, blanks up to a multiple of 4."""
    told = orjson.dumps(head, default=_plain, option=orjson.OPT_SERIALIZE_NUMPY)
    told += b" " * (-len(told) % 4)
    return b"".join((len(told).to_bytes(4, "little"), told, *parts))


def unpacked(message: Message) -> tuple[dict[str, Any], bytes]:
    """A message's head and what follows it."""
    size = int.from_bytes(message[:4], "little")
    return orjson.loads(message[4 : 4 + size]), message[4 + size :]


def version_of(data: bytes) -> str:
    """A file's version: a digest of its bytes."""
    return hashlib.blake2b(data, digest_size=8).hexdigest()


def _version_at(path: Path) -> str:
    """The version of a file, empty where there is none."""
    return version_of(path.read_bytes()) if path.is_file() else ""


class Session:
    """A lesson under its author's hands."""

    def __init__(self, path: Path, shown_as: str | None = None, cache: Path | None = None) -> None:
        self.path, self.shown_as, self.kept = path, shown_as or path.name, Kept(cache)
        self.pages: dict[int, Page] = {}
        self.read: Read | None = None
        self.good: Read | None = None
        self.file: bytes | None = None
        self.draft: bytes | None = None
        self.is_missing = self.is_outside = False
        self._sounds: OrderedDict[str, tuple[bytes, list[float]]] = OrderedDict()
        self.aside: Callable[[Callable[[], None]], object] = lambda work: work()
        """Does what takes long and draws nothing, such as speaking: the server does it beside the desk."""
        self.is_overtaken: Callable[[], bool] = lambda: False
        """True when a newer text waits: what is planned of the present one then is of no use."""
        self.meanwhile: Callable[[], object] = lambda: None
        """Called again and again while a lesson is planned: a hand moves the shot as it was before meanwhile."""
        self.named: frozenset[Path] = frozenset()
        """The files that the lesson names, and those that these name."""
        self.on_named: Callable[[], object] = lambda: None
        self._is_behind = False
        self._early: set[int] = set()
        self.lay_out: Callable[[str, str], str] = lambda html, policy: ""
        """Keeps a page with its policy to be fetched once; gives its address."""
        self.soon: Callable[[Hashable, Callable[[], None]], object] = lambda key, work: work()
        """Does what may wait for a picture: the server lets wishes go first, and does only the newest of a key."""
        self._boards: OrderedDict[tuple[str, float, bool], tuple[Any, Orders]] = OrderedDict()

    # -------------------------------------------------------------- the file

    def reload(self, data: bytes | None) -> bool:
        """Take the file's bytes as they are now (None: it is not there); False when nothing about it is new."""
        if data is None and self.file is None and self.draft is not None:
            return False  # a new lesson, which nobody has saved yet
        if data is None or not data.strip():
            was, self.is_missing = self.is_missing, True
            if not was:
                self._tell_all(lambda page: self.lesson_message())
            if self._is_behind:
                self.again()
            return not was
        if data == self.file and not self.is_missing:
            if not self._is_behind:
                return False
            self.again()
            return True
        self.file, self.is_missing = data, False
        if self.draft is not None and self.draft != data:
            # somebody else has saved: what is typed here is neither lost nor put over it
            self.is_outside = True
            self._tell_all(lambda page: self.lesson_message())
            return True
        self.draft = None
        self.take(data)
        return True

    def again(self) -> None:
        """Plan once more what the text says: a file beside it has changed."""
        text = self.draft if self.draft is not None else self.file
        if text is not None:
            self.take(text)

    def type(self, text: str) -> None:
        """Take a text as it is typed: it is shown and not written."""
        data = retold(self.file or b"", text)
        self.draft = None if data == self.file else data
        self.is_outside = self.is_outside and self.draft is not None
        self.take(data)

    def settle(self, keeps: bool) -> None:
        """After somebody else's save: keep what is typed here, or take the file's."""
        self.is_outside = False
        if keeps or self.file is None:
            self._tell_all(lambda page: self.lesson_message())
        else:
            self.draft = None
            self.take(self.file)

    def save(self, page: Page, text: str | None) -> None:
        """Write the text that is typed into the file, faults or not: it is its author's."""
        if text is not None and (self.draft is None or retold(self.draft, text) != self.draft):
            self.type(text)
        said, is_done = "Nothing to save.", True
        if self.is_outside:
            said, is_done = "Not saved: choose first which of the two texts is to be kept.", False
        elif self.draft is not None:
            try:
                save(self.path, self.draft, self.file)
                self.file, self.draft = self.draft, None
                said = f"{self.shown_as} is saved."
            except FileChangedError:
                said, is_done = "Not saved: the file was saved somewhere else meanwhile.", False
            except OSError as error:
                said, is_done = f"Not saved: {error.strerror or error}.", False
        self._tell_all(lambda each: self.lesson_message())
        page.send(packed({"is": "saved", "sentence": said, "is_done": is_done}))

    def take(self, data: bytes, is_own: bool = False) -> None:
        """Read a text; keep the last good picture when it has faults; tell every page, what it shows first.

        When a newer text comes in meanwhile, the rest is left to that; not so after a write of our own, of which
        the folder tells as well.
        """
        text, version, now = data.decode("utf-8-sig", "replace"), version_of(data), time.time()
        before, shown = self.good, set[int]()
        # pages that show a picture of a text which was given up
        ahead, self._early = self._early, set()

        def early(requests: Sequence[Request], planned: Callable[[Request], PlannedClip | None]) -> None:
            for number, page in self.pages.items():
                old = before.clip(page.clip) if before is not None else None
                if old is None or before is None or before.lesson is None:
                    continue
                if (new := planned(nearest(followed(old, before.lesson, lesson), requests))) is not None:
                    self._show_clip(page, new, carried(page.frame, old, new), why="save")
                    shown.add(number)

        try:
            lesson = loads(data, self.path.as_posix())
            made = plan(lesson, early=early, is_overtaken=lambda: self._is_given_up(is_own))
            self.read = Read(text, version, now, lesson, made)
        except Overtaken:
            self._is_behind, self._early = True, ahead | shown
            return
        except LessonError as error:
            self.read = Read(text, version, now, faults=error.faults)
        self._is_behind = False
        self._note_files(data)
        if self.read.plan is None:
            self._tell_all(lambda page: self.lesson_message())
            for number in (ahead | shown) & self.pages.keys():
                page = self.pages[number]
                self.show(page, page.clip, page.frame, why="save")  # the last good picture after all
            return
        self.good = self.read
        for number, page in self.pages.items():
            self._carry(page, before, self.good)
            if number not in shown:
                self.show(page, page.clip, page.frame, why="save")
        message = self.lesson_message()
        for page in self.pages.values():
            page.send(message)
            self.tell_clip(page, page.clip)

    def _is_given_up(self, is_own: bool) -> bool:
        self.meanwhile()
        return not is_own and self.is_overtaken()

    def _note_files(self, data: bytes) -> None:
        """Remember what the text names; while it has a fault of form, what it named before."""
        found = named_files(self.path, data)
        if found is not None and found != self.named:
            self.named = found
            self.on_named()

    def _carry(self, page: Page, before: Read | None, now: Read) -> None:
        """Keep a page at its clip, though it may be called otherwise now, at the same part of the same step."""
        old = before.clip(page.clip) if before is not None else None
        if old is not None and before is not None and before.lesson is not None and now.lesson is not None:
            new = nearest(followed(old, before.lesson, now.lesson), now.clips)
            page.clip, page.frame = new.name, carried(page.frame, old, new)
        elif now.clip(page.clip) is None:
            page.clip = now.clips[0].name

    # -------------------------------------------------------------- pages

    def join(self, number: int, send: Send) -> Page:
        """A page has been opened."""
        page = self.pages[number] = Page(send)
        send(self.lesson_message())
        return page

    def leave(self, number: int) -> None:
        """A page has been closed."""
        self.pages.pop(number, None)

    def _tell_all(self, message: Callable[[Page], Message]) -> None:
        for page in self.pages.values():
            page.send(message(page))

    def lesson_message(self) -> Message:
        """The file, its faults, and the clips of the last good state."""
        read, good = self.read, self.good
        told: dict[str, Any] = {"is": "lesson", "file": self.shown_as, "is_missing": self.is_missing}
        told["matches"] = [path.name for path in self.matches()]
        told |= {"is_draft": self.draft is not None, "is_outside": self.is_outside, "tables": list(TABLES)}
        if read is not None:
            told |= {
                "version": read.version,
                "text": read.text,
                "read_at": read.at_s,
                "faults": self._faults(read),
            }
        if good is not None and good.plan is not None and good.lesson is not None:
            keys = good.lesson.keys
            names = {"cuts": [cut.text for cut in keys.cuts], "distances": list(keys.distances)}
            told |= {
                "names": {**names, "eyes": list(keys.eyes)},
                "strides": STRIDES["in" if keys.units == "in" else "mm"],
                "title": good.plan.title,
                "shown_at": good.at_s,
                "clips": [self._clip_told(good, clip) for clip in good.plan.clips],
                "left_out": [
                    {"name": left.name, "reason": left.reason, "line": left.place.line}
                    for left in good.plan.left_out
                ],
            }
        return packed(told)

    def _faults(self, read: Read) -> list[dict[str, Any]]:
        own = self.path.as_posix()
        return [
            {
                "line": f.place.line,
                "column": f.place.column,
                "sentence": f.sentence,
                "file": Path(f.place.file).name if f.place.file != own else None,
            }
            for f in read.faults[:100]
        ]

    def _clip_told(self, read: Read, clip: PlannedClip) -> dict[str, Any]:
        subject = clip.brief.subject
        names = {"ghost_ball": "ghost ball"}
        group = stem(clip.name, clip.method)
        about = [clip.cut_text, clip.side, clip.distance_name, clip.eye]
        title = " ".join(clip.brief.steps[0].title.split()) if not CLIP_KINDS[clip.kind].axes else ""
        method = names.get(clip.method or "", (clip.method or "").replace("_", " "))
        return {
            "name": clip.name,
            "kind": clip.kind,
            "is_card": not CLIP_KINDS[clip.kind].axes,
            "label": title or (method or clip.kind.replace("-", " ")).capitalize(),
            "about": ", ".join(
                part
                for part in (group if clip.method or group != clip.kind else "", " ".join(filter(None, about)))
                if part
            )
            or clip.kind,
            "seconds": clip.duration_s,
            "frames": clip.frames,
            "rate": clip.brief.output.rate,
            "size": (clip.brief.output.width_px, clip.brief.output.height_px),
            "line": clip.place.line,
            "key": self.key(clip),
            "has_shot": subject.shot is not None,
            "has_sound": clip.sound is not None,
        }

    def clip(self, name: str) -> PlannedClip | None:
        """A clip of the last good state."""
        return self.good.clip(name) if self.good else None

    def key(self, clip: PlannedClip) -> str:
        """What a clip's pictures depend on, as a digest."""
        return self.good.key(clip) if self.good else _key(clip)

    # -------------------------------------------------------------- frames

    def orders(self, page: Page, clip: PlannedClip) -> Orders:
        """A clip's orders, kept while they are used."""
        zoom = _zoom(clip.brief.output.width_px, page.size_px)
        key, brief = (self.key(clip), zoom, page.is_plain), clip.brief
        if key not in self._boards:
            like = next(reversed(self._boards.values()))[1] if self._boards else None
            self._boards[key] = brief, Orders(self._board(clip), zoom, like, page.is_plain)
        self._boards.move_to_end(key)
        while len(self._boards) > MOST_BOARDS:
            self._boards.popitem(last=False)
        return self._boards[key][1]

    def prepare(self) -> None:
        """Before a page is there: the picture of the first clip, so that its words and places are known."""
        if self.good is not None and not self.pages:
            page = Page(lambda message: None)
            self.show(page, self.good.clips[0].name, 0)
            self.tell_clip(page, page.clip)

    def show(
        self,
        page: Page,
        name: str,
        frame: int,
        size_px: tuple[int, int] | None = None,
        n: int = 0,
        why: str = "show",
    ) -> None:
        """Send a frame of a clip to a page, and the clip itself when it is another than before."""
        clip = self.clip(name) or self.clip(page.clip) or next(iter(self.good.clips if self.good else ()), None)
        page.size_px = size_px or page.size_px
        if clip is not None and (at := self._show_clip(page, clip, frame, n, why)) is not None:
            page.clip, page.frame = clip.name, at

    def _show_clip(self, page: Page, clip: PlannedClip, frame: int, n: int = 0, why: str = "show") -> int | None:
        """Send a frame of a clip; the frame, or None where it can't be drawn."""
        started = time.perf_counter()
        try:
            orders = self.orders(page, clip)
        except ValueError as error:
            page.send(packed({"is": "said", "sentence": f"{clip.name} can't be drawn: {error}"}))
            return None
        at = min(max(frame, 0), orders.board.frames - 1)
        told = {"is": "frame", "why": why, "clip": clip.name, "key": self.key(clip), "n": n}
        self.send_frame(page, orders, at, told, started)
        return at

    def tell_clip(self, page: Page, name: str) -> None:
        """Send what a page knows about a clip besides its pictures: steps, words, captions."""
        from lessons.live.told import clip_told

        clip = self.clip(name)
        if clip is not None and self.good is not None and self.good.lesson is not None:
            try:
                board = self.orders(page, clip).board
            except ValueError:
                return
            told = {"is": "clip", **clip_told(self.good.lesson, clip, board), "key": self.key(clip)}
            taken = held_of(self.good.lesson, clip)
            page.send(packed({**told, "rows": rows(*taken, self.good.lesson.keys.units) if taken else []}))

    def send_frame(
        self, page: Page, orders: Orders, frame: int, told: dict[str, Any], started: float | None = None
    ) -> None:
        """Send a frame's orders with the parts that the page lacks."""
        shown = orders.frame(frame)
        told |= {"frame": frame, "zoom": orders.zoom, "board": (orders.board.width_px, orders.board.height_px)}
        self._send_parts(page, [one.told for one in shown], needed(orders, shown), orders.part, told, started)

    def _send_parts(
        self,
        page: Page,
        shown: Sequence[Sequence[str | float]],
        names: Sequence[str],
        part_of: Callable[[str], bytes],
        told: dict[str, Any],
        started: float | None = None,
    ) -> None:
        new = [name for name in names if name not in page.have]
        parts = [part_of(name) for name in new]
        for name, part in zip(new, parts, strict=True):
            page.have[name] = len(part)
        for name in names:
            page.have.move_to_end(name)
        dropped = []
        total = sum(page.have.values())
        while total > MOST_PAGE_BYTES and len(page.have) > len(names):
            name, size = page.have.popitem(last=False)
            dropped.append(name)
            total -= size
        told |= {
            "shown": shown,
            "parts": [(name, len(part)) for name, part in zip(new, parts, strict=True)],
            "drop": dropped,
            "took_ms": (time.perf_counter() - started) * 1e3 if started else None,
        }
        page.send(packed(told, *(part + b"\0" * (-len(part) % 4) for part in parts)))

    def ahead(self, page: Page, name: str, first: int, count: int) -> None:
        """Send the frames of a clip that look other than the ones before, from one on: what playing needs."""
        clip = self.clip(name)
        if clip is None:
            return
        orders = self.orders(page, clip)
        end = min(first + min(count, MOST_AHEAD), orders.board.frames)
        changing = orders.board.changing
        for frame in range(first, end):
            if frame == first or changing[frame]:
                self.send_frame(
                    page, orders, frame, {"is": "frame", "why": "ahead", "clip": name, "key": self.key(clip)}
                )
        page.send(packed({"is": "ahead", "clip": name, "key": self.key(clip), "first": first, "end": end}))

    def thumb(self, page: Page, name: str, width_px: int) -> None:
        """Send a small picture of a clip, as orders."""
        clip = self.clip(name)
        if clip is None:
            return
        output = clip.brief.output
        zoom = _zoom(output.width_px, (width_px, width_px * output.height_px // output.width_px))
        frame = 0 if clip.kind in {"quiz", "straight-in"} else clip.frames - 1
        kept_as = digest((self.key(clip), zoom, frame, page.is_plain, drawing_code()))
        small = self.kept.get(kept_as)
        if small is None:
            try:
                orders = Orders(self._board(clip), zoom, is_plain=page.is_plain)
            except ValueError:
                return
            shown = orders.frame(frame)
            parts = {name: orders.part(name) for name in needed(orders, shown)}
            small = Small(tuple(one.told for one in shown), parts)
            self.kept.put(kept_as, small)
        told = {"is": "thumb", "clip": name, "key": self.key(clip), "frame": frame, "zoom": zoom}
        told["board"] = (output.width_px, output.height_px)
        self._send_parts(page, small.shown, list(small.parts), small.parts.__getitem__, told)

    # -------------------------------------------------------------- by hand

    def grasp(self, page: Page, name: str) -> Grasp | None:
        """The shot of a clip under a page's hand: what was moved stays when the file changes under it."""
        clip, lesson = self.clip(name) or self.clip(page.clip), self.good.lesson if self.good else None
        if clip is None or lesson is None:
            return None
        old = page.grasp
        if old is not None and old.clip == clip.name and old.lesson is lesson:
            return old
        taken = held_of(lesson, clip)
        if taken is None:
            page.grasp = None
        elif old is None or (old.clip != clip.name and page.clip != clip.name):
            page.grasp = Grasp(clip.name, lesson, clip.brief, taken[0], taken[1], taken[1])
        else:
            held, *rest = (rebased(one, old.base, taken[1]) for one in (old.held, *old.undo, *old.redo))
            undo, redo = rest[: len(old.undo)], rest[len(old.undo) :]
            page.grasp = Grasp(clip.name, lesson, clip.brief, taken[0], taken[1], held, undo, redo)
        return page.grasp

    def hand(self, page: Page, wish: Mapping[str, Any]) -> None:
        """Do what a page's hand wishes: take hold, move, choose, undo; send the picture, then the numbers."""
        started = time.perf_counter()
        name = wish.get("clip") if isinstance(wish.get("clip"), str) else ""
        page.step = str(wish.get("step", page.step))
        shape = str(wish.get("shape", page.shape))
        if shape in SHAPES and shape != page.shape:
            page.shape = shape
            if page.grasp is not None:
                page.grasp.manner = None
        page.scope = "group" if wish.get("scope", page.scope) == "group" else "lesson"
        if name and page.grasp is not None and name != page.grasp.clip and name != page.clip:
            page.grasp = None
        grasp = self.grasp(page, name or (page.grasp.clip if page.grasp else page.clip))
        if grasp is None:
            page.send(packed({"is": "hand", "sentence": "This clip shows no shot; choose one that does."}))
            return
        if wish.get("by") not in (None, "rest"):
            self._act(page, grasp, wish)
        n = int(wish.get("n") or 0)
        page.wish = n or page.wish
        self._send_hand(page, grasp, n, started, is_moving=wish.get("by") == "move")
        self.soon(("numbers", id(page)), lambda: self._send_numbers(page))

    def _act(self, page: Page, grasp: Grasp, wish: Mapping[str, Any]) -> None:
        """Change what is held."""
        before, ground = grasp.held, grasp.ground
        grip, is_free = wish.get("grip"), bool(wish.get("is_free"))
        said = ""
        if grip in ("cue_ball", "object_ball", "target", "eye", "eye_side"):
            to, toward, values = _pair(wish.get("to_px")), _pair(wish.get("toward")), wish.get("values")
            if to is not None and page.shape != "eye":
                at = side_at(to, page.shape) if grip == "eye_side" else mm_at(to, ground.table, page.shape)
                grasp.held, said = moved(ground, before, grip, at, is_free)
            elif toward is not None and wish.get("stride") in range(len(STRIDES[ground.unit])):
                grasp.held, said = nudged(ground, before, grip, toward, wish["stride"])
            elif isinstance(values, dict):
                given = {k: float(v) for k, v in values.items() if isinstance(v, int | float) and abs(v) < 1e6}
                grasp.held, said = set_values(ground, before, grip, given)
        elif wish["by"] == "choose":
            grasp.held = self._chosen(grasp, wish)
        elif wish["by"] == "restore":
            with suppress(ValueError):  # the file is another now
                grasp.held = with_moves(ground, before, wish.get("moves"))
        elif wish["by"] == "back":
            grasp.held = grasp.base
        elif wish["by"] == "undo" and grasp.undo and wish.get("gesture", grasp.gesture) == grasp.gesture:
            grasp.redo.append(before)
            grasp.held = grasp.undo.pop()
        elif wish["by"] == "redo" and grasp.redo:
            grasp.undo.append(before)
            grasp.held = grasp.redo.pop()
        if wish["by"] in ("move", "choose", "back", "restore") and grasp.held != before:
            grasp.redo.clear()
            if wish.get("gesture") is None or wish["gesture"] != grasp.gesture:
                grasp.undo.append(before)
                del grasp.undo[:-MOST_UNDO]
            grasp.gesture = wish.get("gesture")
        grasp.said = said

    def _chosen(self, grasp: Grasp, wish: Mapping[str, Any]) -> Held:
        held, lesson = grasp.held, self.good.lesson if self.good else None
        if wish.get("method") in (*METHODS, *grasp.ground.own, ""):
            held = replace(held, method=wish["method"] or None)
        if lesson is not None and wish.get("eye") in lesson.keys.eyes and wish["eye"] != held.eye_name:
            back, offset, height = eye_of(lesson, grasp.ground, wish["eye"], grasp.ground.shot(held))
            held = replace(held, eye_name=wish["eye"], back=back, offset=offset, height=height)
        return held

    def _send_hand(self, page: Page, grasp: Grasp, n: int, started: float, is_moving: bool) -> None:
        try:
            places, limit = hand_places(page, grasp, is_moving)
        except ValueError as error:
            # the eye is so near that a ball reaches behind it: as before
            grasp.held = grasp.undo.pop() if grasp.undo else grasp.base
            grasp.said = f"The eye can’t stand there: {error}."
            places, limit = hand_places(page, grasp, is_moving)
        grasp.manner, names = places.manner, grasp.ground.words["names"]
        orders = Orders(places.board, _zoom(places.board.width_px, page.size_px), page.orders, page.is_plain)
        page.orders = orders
        told = {
            "is": "frame",
            "why": "hand",
            "n": n,
            "clip": grasp.clip,
            "grips": [
                {**one, "at_px": places.grips_px.get(one["id"])} for one in values_of(grasp.ground, grasp.held)
            ],
            "limit": " ".join(part for part in (grasp.said, limit) if part),
            **{f"{pane.id}_px": pane.rect_px for pane in places.board.panes if pane.id in (TABLE, SIDE)},
            "is_moving": is_moving,
            "undo": (len(grasp.undo), len(grasp.redo)),
            "method": grasp.held.method,
            "eye": grasp.held.eye_name,
            "methods": [("", "none"), *((m, names[m]) for m in (*METHODS, *grasp.ground.own))],
            "eyes": list(grasp.lesson.keys.eyes),
            "unit": grasp.ground.unit,
            "strides": STRIDES[grasp.ground.unit],
        }
        self.send_frame(page, orders, 0, told, started)

    def _send_numbers(self, page: Page) -> None:
        """Send what `aimgeo solve` answers for the shot as it is held, and what writing it would change."""
        grasp, good = page.grasp, self.good
        clip = self.clip(grasp.clip) if grasp is not None else None
        if grasp is None or clip is None or good is None or good.lesson is None or good.plan is None:
            return
        found = changes(good.lesson, good.plan, clip, grasp.base, grasp.held, page.scope, grasp.pins)
        names = "key", "text", "was", "line", "clips", "why_not", "note"
        told = {
            "is": "numbers",
            "n": page.wish,
            "rows": rows(grasp.ground, grasp.held, good.lesson.keys.units),
            "changes": [{name: getattr(change, name) for name in names} for change in found],
            "is_scoped": any(change.scoped for change in found),
            "scope": page.scope,
            "clip": clip.name,
            "moves": moves_of(grasp.held, grasp.base),
        }
        page.send(packed(told))

    def write(self, page: Page) -> None:
        """Write what was moved into the file: nothing else, and nothing at all when the file has a fault."""
        grasp, good = page.grasp, self.good
        if grasp is None or good is None or good.lesson is None or good.plan is None:
            return
        said = ""
        if self.draft is not None:
            page.send(
                packed(
                    {"is": "said", "sentence": "The text is not saved yet: save it first (Ctrl S in the text)."}
                )
            )
            return
        try:
            data = self.path.read_bytes()
            try:
                lesson = loads(data, self.path.as_posix())
            except LessonError:
                page.send(packed({"is": "said", "sentence": WAITS_FOR_FAULT}))
                return
            clip = self.clip(grasp.clip)
            assert clip is not None
            shot = Moved(lesson, good.plan, clip, grasp.ground, grasp.base, grasp.held, page.scope)
            made = writing(data, self.path.as_posix(), shot)
            if not isinstance(made, Writing):
                reasons = "; ".join(f"{c.key} {c.why_not}" for c in made if c.why_not)
                said = f"Nothing is written: {reasons}." if reasons else "Nothing has been moved."
            elif made.stands is None:
                said = f"Nothing is written: {why_lost(shot, made)}"
            else:
                save(self.path, made.data, data)
                lines = sorted({c.line for c in made.changes if c.edits and c.line})
                where = f" in line {', '.join(map(str, lines))}" if lines else " in a new line"
                said = f"Written{where}."
                grasp.base = replace(made.held, method=grasp.base.method)
                self.file = made.data
                self.take(made.data, is_own=True)
        except LessonError as error:
            fault = error.faults[0]
            where = "" if fault.place.file == self.path.as_posix() else f"{Path(fault.place.file).name}: "
            said = f"Nothing is written: {where}{fault.sentence}"
        except FileChangedError:
            said = "Nothing is written: the file was saved by somebody else meanwhile. Try again."
        except FileNotFoundError:
            said = f"Nothing is written: {self.shown_as} is not there."
        except (ValueError, OSError) as error:
            said = f"Nothing is written: {getattr(error, 'strerror', None) or error}"
        page.send(packed({"is": "said", "sentence": said}))
        if self.clip(grasp.clip) is not None or page.clip:
            self.hand(page, {"clip": page.clip})

    def effect(self, page: Page) -> None:
        """Tell what writing the moves would do to the lesson's clips: how many it leaves out, what it breaks."""
        grasp, good = page.grasp, self.good
        if grasp is None or good is None or good.lesson is None or good.plan is None or self.file is None:
            return
        clip = self.clip(grasp.clip)
        if clip is None:
            return
        sentence = ""
        if self.read is not None and self.read.faults:
            sentence = WAITS_FOR_FAULT if grasp.held != grasp.base else ""
        elif self.draft is None:
            key = grasp.held, page.scope, version_of(self.file)
            if grasp.effect[0] != key:
                shot = Moved(good.lesson, good.plan, clip, grasp.ground, grasp.base, grasp.held, page.scope)
                try:
                    pins, sentence = self._effect(shot, self.file)
                except Overtaken:
                    return
                grasp.effect, was, grasp.pins = (key, sentence), grasp.pins, pins
                if pins != was:
                    self._send_numbers(page)
            sentence = grasp.effect[1]
        page.send(packed({"is": "effect", "sentence": sentence}))

    def _effect(self, shot: Moved, data: bytes) -> tuple[str, str]:
        """Where a spot has to be written for the shot to stay, and what becomes of the other clips."""
        try:
            made = writing(data, self.path.as_posix(), shot, lambda: self._is_given_up(is_own=False))
        except LessonError as error:
            return "", f"It can’t be written: {error.faults[0].sentence}"
        except ValueError as error:
            return "", f"It can’t be written: {error}"
        if not isinstance(made, Writing):
            return "", ""
        if made.stands is None:
            return made.pins, f"It can’t be written: {why_lost(shot, made)}"
        if (lost := len(made.plan.left_out) - len(shot.plan.left_out)) <= 0:
            return made.pins, ""
        clips = "1 more clip is" if lost == 1 else f"{lost} more clips are"
        return made.pins, f"{clips} left out: {made.plan.left_out[-1].reason}"

    # -------------------------------------------------------------- filmed stills

    def matches(self) -> tuple[Path, ...]:
        """The match files that the lesson names, whether its clips can be made of them yet or not."""
        return match_files(self.path, self.read.text) if self.read is not None else ()

    def _match_file(self, which: int) -> Path | None:
        found = self.matches()
        return found[which] if 0 <= which < len(found) else None

    def filmed(self, page: Page, which: int, text: str) -> None:
        """Send where the page for clicking on a match file's footage is; `text` is what is clicked so far."""
        if (path := self._match_file(which)) is None:
            return

        def work() -> None:
            told = {"is": "filmed", "which": which, "file": path.name}
            if not text:
                told["version"] = _version_at(path)
            try:
                page.send(packed({**told, "address": self.lay_out(*page_of(path, text))}))
            except (ValueError, OSError) as error:
                page.send(packed({**told, "address": "", "sentence": str(error)}))

        self.aside(work)

    def match(self, page: Page, which: int, text: str, n: int) -> None:
        """Match what is clicked, and send what comes of it; clicks that others followed are passed over."""
        path, page.clicks = self._match_file(which), n

        def work() -> None:
            if path is None or page.clicks != n:
                return
            told = {"is": "match", "which": which, "n": n}
            try:
                found = tried(path, text)
            except (ValueError, OSError) as error:
                found = Tried(False, (str(error),))
            page.send(
                packed({**told, "is_matched": found.is_matched, "sentences": found.sentences}, found.picture)
            )

        self.aside(work)

    def write_match(self, page: Page, which: int, text: str, version: str) -> None:
        """Write a match file as it is clicked, and its answer, which the lesson's clips are made of.

        `version` is the file's when the page last read or wrote it: what was saved since is not lost unasked.
        """
        if (path := self._match_file(which)) is None:
            return

        def work() -> None:
            from lessons.footage import matching

            now = version
            try:
                data, before = written(path, text)
                if version != (version_of(before) if before is not None else ""):
                    raise FileChangedError(path)
                save(path, data, before)
                now = version_of(data)
                made, picture = matching.answer(path)
                matching.write(made, picture)
                said = f"{path.name} is written, and its match beside it."
            except FileChangedError:
                now = _version_at(path)
                said = (
                    f"Not written: {path.name} was saved somewhere else meanwhile. Reload the page to go on from "
                    "that, or write once more to put these clicks in its place."
                )
            except LessonError as error:
                said = f"{path.name} is written; it is not matched yet: {error.faults[0].sentence}"
            except (ValueError, OSError) as error:
                said = f"Not written: {error}"
            page.send(packed({"is": "match_file", "which": which, "version": now}))
            page.send(packed({"is": "said", "sentence": said}))

        self.aside(work)

    # -------------------------------------------------------------- handed over

    def sound(self, page: Page, name: str) -> None:
        """Send what is heard during a clip, as WAV, and its outline: its recording, or the scratch voice."""
        clip = self.clip(name)
        if clip is None or clip.sound is None:
            return
        told = {"is": "sound", "clip": name, "key": self.key(clip)}
        kept_as = digest((clip.sound.key, clip.frames, clip.brief.handle_frames, clip.brief.output.rate))

        def work() -> None:
            from lessons.live.heard import heard

            try:
                if kept_as not in self._sounds:
                    self._sounds[kept_as] = heard(clip)
                    while sum(len(wav) for wav, _ in self._sounds.values()) > MOST_SOUND_BYTES:
                        self._sounds.popitem(last=False)
                wav, outline = self._sounds.get(kept_as) or heard(clip)
            except (ValueError, OSError) as error:
                page.send(packed({"is": "said", "sentence": f"No sound: {error}"}))
                return
            page.send(packed({**told, "outline": outline}, wav))

        self.aside(work)

    def why_no_film(self) -> str:
        """Why no clip can be filmed now, empty when one can: films are made of the file as it is."""
        if self.draft is not None:
            return "Not filmed: the text is not saved yet; save it first (Ctrl S in the text)."
        if self.is_missing or self.read is None or self.read.faults:
            return "Not filmed: the file has a fault; mend it first."
        return ""

    def png(self, page: Page, name: str, frame: int, width_px: int | None) -> None:
        """Send a frame as a PNG file, painted as the film is, as wide as asked for."""
        clip = self.clip(name)
        if clip is None:
            return
        try:
            body, size = png_of(clip, frame, width_px)
        except ValueError as error:
            page.send(packed({"is": "said", "sentence": f"No picture: {error}"}))
            return
        told = {"is": "png", "name": f"{clip.name}_{frame}.png", "width": size[0], "height": size[1]}
        page.send(packed(told, body))

    def make(self, page: Page, title: str, file: str, table: str, cuts: str) -> None:
        """Write a new lesson beside this one, and show it."""
        from lessons.live.begin import begun

        try:
            path, text = begun(self.path.parent, title, file, table, cuts)
            save(path, text.encode("utf-8"), None)
        except FileChangedError:
            page.send(packed({"is": "made", "fault": f"{file} is there already; choose another name."}))
            return
        except (ValueError, OSError) as error:
            page.send(packed({"is": "made", "fault": str(error)}))
            return
        self.turn_to(path)
        page.send(packed({"is": "made", "file": path.name}))

    def turn_to(self, path: Path) -> None:
        """Show another lesson from now on."""
        self.path, self.shown_as = path, path.name
        self.file = self.draft = self.read = self.good = None
        self.is_missing = self.is_outside = False
        for page in self.pages.values():
            page.clip, page.frame, page.grasp = "", 0, None
        self.reload(path.read_bytes())

    def _board(self, clip: PlannedClip) -> Board:
        key = self.key(clip)
        found = next((orders.board for (one, _, _), (_, orders) in self._boards.items() if one == key), None)
        return found or CLIP_KINDS[clip.kind].board(clip.brief)


def png_of(clip: PlannedClip, frame: int, width_px: int | None) -> tuple[bytes, tuple[int, int]]:
    """A frame as a PNG file with its size: painted at the lesson's size, or at this width in the same shape."""
    import io

    from PIL import Image

    from scenes.draw.picture import picture

    brief = clip.brief
    if width_px is not None:
        output = brief.output
        height = max(2, round(output.height_px * width_px / output.width_px / 2) * 2)
        brief = replace(brief, output=replace(output, width_px=width_px, height_px=height))
    board = CLIP_KINDS[clip.kind].board(brief)
    pixels = picture(board, min(max(frame, 0), board.frames - 1))
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, format="PNG", compress_level=4)
    return file.getvalue(), (board.width_px, board.height_px)


def hand_places(page: Page, grasp: Grasp, is_moving: bool) -> tuple[HandBoard, str]:
    """The board of the shot under the hand, and the limit that its method has reached.

    Raises ValueError for an eye that is too near.
    """
    ground, held = grasp.ground, grasp.held
    plan, limit = construction_of(ground, held)
    names = [step.name for step in plan.steps]
    steps = names.index(page.step) + 1 if page.step in names else len(names)
    shot, eye, brief = ground.shot(held), ground.eye(held), grasp.brief
    made = hand_board(
        shot,
        ground.table,
        plan,
        steps,
        eye,
        brief.look,
        page.shape,
        brief.labels,
        grasp.manner,
        is_moving,
        brief.subject,
    )
    return made, limit


def _pair(value: Any) -> tuple[float, float] | None:
    is_pair = isinstance(value, list) and len(value) == 2
    if is_pair and all(isinstance(v, int | float) and abs(v) < 1e6 for v in value):
        return float(value[0]), float(value[1])
    return None


def _zoom(width_px: int, size_px: tuple[int, int]) -> float:
    return round(min(max(size_px[0] / width_px, 0.05), 4.0), 4)


def _key(clip: PlannedClip) -> str:
    brief = clip.brief
    look = _look_key(brief.look)
    return digest((brief.subject, brief.labels, brief.rows, brief.steps, brief.output, brief.handle_frames, look))


@lru_cache(maxsize=4)
def _look_key(look: Look) -> str:
    return digest(look)


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(type(value).__name__)
