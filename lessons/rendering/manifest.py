"""manifest.json: everything about the clips beside it, so that nothing else is needed to use them.

This module alone writes it and reads it. What schema 1 names stays as it is; what was added since is counted by
the revision, and a manifest of an earlier one is brought up to date while it is read.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from importlib import metadata
from itertools import accumulate
from pathlib import Path, PurePosixPath
from typing import Annotated, Any

import numpy as np
import orjson
from pydantic import AfterValidator, BeforeValidator, Field, InstanceOf, TypeAdapter, ValidationError

from aimgeo.camera import ball_outline
from aimgeo.tables import Table
from lessons.lesson.wording import LANGUAGES
from lessons.planning.filmed import SetUp
from lessons.planning.planned import Plan, PlannedClip
from lessons.rendering.cache import font, libraries
from scenes.board import Board
from scenes.files import write_whole
from scenes.film.forms import counted
from scenes.kinds import CLIP_KINDS

FILE_NAME = "manifest.json"
SCHEMA = 1
REVISION = 9
"""9: a pane tells how fine its lines are. 8: a pane may be round.
7: a lesson tells the fonts of its own look. 6: a clip tells where its balls roll;
over footage it tells that and how the shot was set up, its pane has a lens. 5: a lesson tells its eyes and the
names that people read. 4: a clip tells its file's first timecode and reel. 3: a clip names its poster frame, a
rest its labels. 2: it tells all the shots that it shows, each with its identity, and its language."""

THUMBNAIL_BALL = 12 / 320
"""Of the picture's width: a ball so wide shows its marks when the picture is 320 pixels wide (judged)."""
MOST_NAME_BYTES = 255
"""The longest name that common file systems take."""


class ManifestError(Exception):
    """A manifest that cannot be used: the sentence says where, what, and what to do next."""


def is_file_name(text: str) -> bool:
    """True for the name of a file in a folder: no path, so that nothing outside can be meant.

    >>> is_file_name("title.mp4"), is_file_name("../title.mp4"), is_file_name("/etc/passwd"), is_file_name("..")
    (True, False, False, False)
    """
    return (
        text not in ("", ".", "..") and not set(text) & set("/\\\0") and len(os.fsencode(text)) <= MOST_NAME_BYTES
    )


def _name(text: str) -> str:
    if not is_file_name(text):
        raise ValueError(f"{text!r} is no name for a file in this folder")
    return text


def _inside(text: str) -> str:
    parts = PurePosixPath(text).parts
    if not parts or not all(map(is_file_name, parts)):
        raise ValueError(f"{text!r} lies outside the folder")
    return text


def _language(code: str) -> str:
    if code not in LANGUAGES:
        raise ValueError(f"there are no words for the language {code!r}")
    return code


def _rate(told: Any) -> Any:
    match told:
        case [int(over), int(under)] if over > 0 and under > 0:
            return Fraction(over, under)
    return told


Name = Annotated[str, AfterValidator(_name)]
Inside = Annotated[str, AfterValidator(_inside)]
Language = Annotated[str, AfterValidator(_language)]
Rate = Annotated[InstanceOf[Fraction], BeforeValidator(_rate)]
Count = Annotated[int, Field(ge=0)]
Point = tuple[float, float, float]
Row = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Step:
    """The frames [first_frame, end_frame) of a step, and the words spoken during it.

    `translations` are the same words in the lesson's other languages, by their codes.
    """

    name: str
    first_frame: Count
    end_frame: Count
    narration: str = ""
    translations: dict[Language, str] = field(default_factory=dict)

    def words(self, language: str | None) -> str:
        """The words in another language of the lesson, or in that of the pictures."""
        return self.narration if language is None else self.translations.get(language, "")


@dataclass(frozen=True, slots=True)
class Ball:
    """A ball that can be seen, in table millimetres."""

    role: str
    centre_mm: Point
    radius_mm: float


@dataclass(frozen=True, slots=True)
class Line:
    """A line, as far as it can be seen."""

    role: str
    points_mm: tuple[Point, Point]


@dataclass(frozen=True, slots=True)
class Mark:
    """A point that can be seen."""

    role: str
    at_mm: Point


@dataclass(frozen=True, slots=True)
class Shown:
    """What is drawn in a pane and not hidden."""

    balls: tuple[Ball, ...] = ()
    lines: tuple[Line, ...] = ()
    points: tuple[Mark, ...] = ()

    def __len__(self) -> int:
        return len(self.balls) + len(self.lines) + len(self.points)


@dataclass(frozen=True, slots=True)
class Lens:
    """What bends a filmed pane's picture: r = |pixel - principal| / focal becomes r (1 + k1 r^2 + k2 r^4)."""

    focal_px: float
    principal_px: tuple[float, float]
    k1: float
    k2: float


@dataclass(frozen=True, slots=True)
class Pane:
    """A window of the frame: `rect_px` x, y, width, height; `projection` takes (x, y, z, 1) to (u, v, w).

    With a `lens` the picture is bent by it afterwards. One that `is_round` shows the circle in its rectangle.
    Lines are `line_scale` of their usual width.
    """

    rect_px: tuple[float, float, float, float]
    view: str
    projection: tuple[Row, Row, Row]
    shows: Shown
    lens: Lens | None = None
    is_round: bool = False
    line_scale: float = 1.0


@dataclass(frozen=True, slots=True)
class Label:
    """A label as it stands in the frame: x, y, width, height, its text, and the role of what it names."""

    rect_px: tuple[float, float, float, float]
    text: str
    names: str | None = None


@dataclass(frozen=True, slots=True)
class Still:
    """The frames [first_frame, end_frame) in which nothing moves, with the panes and labels as they are then."""

    first_frame: Count
    end_frame: Count
    panes: tuple[Pane, ...]
    labels: tuple[Label, ...] = ()


@dataclass(frozen=True, slots=True)
class Rolling:
    """One frame of a roll: its panes, with those of their balls that roll then, and all their lines and points."""

    frame: Count
    panes: tuple[Pane, ...]


@dataclass(frozen=True, slots=True)
class Roll:
    """The frames [first_frame, end_frame) in which balls roll, and some of them as they must look."""

    first_frame: Count
    end_frame: Count
    pictures: tuple[Rolling, ...]


@dataclass(frozen=True, slots=True)
class OtherBall:
    """Another ball on the table: its centre, its colour as '#RRGGBB' or None, its number or 0, its name or ''."""

    centre_mm: Point
    colour: str | None = None
    number: int = 0
    name: str = ""


@dataclass(frozen=True, slots=True)
class ClipShot:
    """A shot that a clip shows. `shot` is as `aimgeo solve` answers it; the same `identity` is the same shot."""

    identity: str
    cut_deg: float
    side: str
    distance_name: str | None
    target_name: str | None
    shot: dict[str, Any]
    others: tuple[OtherBall, ...] = ()


@dataclass(frozen=True, slots=True)
class Source:
    """The place in a lesson."""

    file: str
    line: int


@dataclass(frozen=True, slots=True)
class Filmed:
    """What a clip lies over: the footage, by its way from the folder, and how the shot was set up."""

    file: str
    set_up: SetUp


@dataclass(frozen=True, slots=True, kw_only=True)
class Clip:
    """A rendered clip. What does not apply is None; `shot` is the first of `shots`.

    `language` is that of its pictures and narration; so many `handle_frames` are held at either end;
    `poster_frame` is the one that stands for the clip, `thumbnail_frame` the one that does so when it is small.
    `timecode` is that of the file's first frame, `reel` the
    name that the file gives it; a form that has none carries neither.
    """

    name: Name
    file: Inside
    kind: str
    method: str | None = None
    cut_deg: float | None = None
    side: str | None = None
    distance_name: str | None = None
    distance_mm: float | None = None
    eye: str | None = None
    width_px: Count
    height_px: Count
    rate: Rate
    frames: Count
    handle_frames: Count = 0
    language: Language = "en"
    sha256: str
    source: Source | None = None
    table: Table | None = None
    target_name: str | None = None
    shot: dict[str, Any] | None = None
    shots: tuple[ClipShot, ...] = ()
    steps: tuple[Step, ...]
    still: tuple[Still, ...] = ()
    rolls: tuple[Roll, ...] = ()
    poster_frame: Count | None = None
    thumbnail_frame: Count | None = None
    timecode: str | None = None
    reel: str | None = None
    filmed: Filmed | None = None

    @property
    def used_frames(self) -> int:
        """The clip without its handles: what stands on a timeline, from frame `handle_frames` on."""
        return self.frames - 2 * self.handle_frames

    @property
    def where(self) -> str:
        """The place in the lesson that made the clip, as `file:line`."""
        return f"{self.source.file}:{self.source.line}" if self.source else FILE_NAME

    @property
    def hides_its_answer(self) -> bool:
        """True when showing anything but the opening would give the answer away."""
        kind = CLIP_KINDS.get(self.kind)
        return kind is not None and kind.is_secret


@dataclass(frozen=True, slots=True)
class OwnFont:
    """A font of the lesson's own: its file, by its way from the folder, and its digest."""

    file: str
    sha256: str


@dataclass(frozen=True, slots=True)
class About:
    """The lesson that the clips are of; `language` is that of its pictures.

    `names` are what people read in place of plain names: `eye.right-eye`, `distance.far`, `method.ghost_ball`;
    `eyes` are the lesson's, each in the words of `aimgeo solve`; `fonts` those of its own look, the words' first.
    """

    title: str
    identity: Name
    source: str = ""
    language: Language = "en"
    units: Annotated[str, Field(pattern="^(mm|in|ball)$")] = "mm"
    names: dict[str, str] = field(default_factory=dict)
    eyes: dict[str, dict[str, Any]] = field(default_factory=dict)
    fonts: tuple[OwnFont, ...] = ()


@dataclass(frozen=True, slots=True)
class Manifest:
    """The clips of a folder, in the lesson's order, and the versions of what made them."""

    lesson: About
    made_with: dict[str, str]
    clips: tuple[Clip, ...]


@dataclass(frozen=True, slots=True)
class Drawn:
    """What is told about a clip's picture once it is drawn: the steps' frames, what stands and rolls where when,
    and the reel that its file names.
    """

    steps: tuple[Step, ...]
    still: tuple[Still, ...]
    reel: str | None = None
    rolls: tuple[Roll, ...] = ()


_MANIFEST, _CLIP, _STILL = TypeAdapter(Manifest), TypeAdapter(Clip), TypeAdapter(tuple[Still, ...])
_ROLLS = TypeAdapter(tuple[Roll, ...])


# ------------------------------------------------------------------ writing


def drawn(board: Board) -> Drawn:
    """What a board's picture tells."""
    from scenes.judge.shown import rolls, still_stretches

    told = _ROLLS.validate_python(tuple(rolls(board)))
    return Drawn(steps(board), stills(still_stretches(board)), rolls=told)


def steps(board: Board) -> tuple[Step, ...]:
    """The steps of a board."""
    return tuple(Step(s.name, s.first_frame, s.end_frame, s.narration) for s in board.steps)


def stills(told: Iterable[Mapping[str, Any]]) -> tuple[Still, ...]:
    """Still stretches, from plain values."""
    return _STILL.validate_python(tuple(told))


def clip_told(
    clip: PlannedClip, file: str, sha256: str, drawn: Drawn, language: str = "en", folder: Path = Path()
) -> Clip:
    """What the manifest in a folder tells of a planned clip whose picture is drawn."""
    from lessons.answering.answer import shot_answer

    subject, output = clip.brief.subject, clip.brief.output
    others = tuple(
        OtherBall(one.centre_mm, one.paint.colour, one.paint.number, one.name) for one in subject.others
    )
    shots = tuple(
        ClipShot(s.identity, s.cut_deg, s.side, s.distance_name, s.pocket, shot_answer(s.shot), others)
        for s in clip.shots
    )
    return Clip(
        name=clip.name,
        file=file,
        kind=clip.kind,
        method=clip.method,
        cut_deg=clip.cut_deg,
        side=clip.side,
        distance_name=clip.distance_name,
        distance_mm=clip.distance_mm,
        eye=clip.eye,
        width_px=output.width_px,
        height_px=output.height_px,
        rate=Fraction(*output.rate),
        frames=clip.frames,
        handle_frames=clip.brief.handle_frames,
        language=language,
        sha256=sha256,
        source=Source(shown_path(clip.place.file), clip.place.line),
        table=subject.table,
        target_name=subject.target_name,
        shot=shots[0].shot if shots else None,
        shots=shots,
        steps=_translated(drawn.steps, clip.translations),
        still=drawn.still,
        rolls=drawn.rolls,
        poster_frame=poster_frame(drawn.steps, drawn.still, clip.frames, CLIP_KINDS[clip.kind].is_secret),
        thumbnail_frame=thumbnail_frame(
            drawn.steps, drawn.still, clip.frames, output.width_px, CLIP_KINDS[clip.kind].is_secret
        ),
        timecode=counted(output.timecode, output.rate) if drawn.reel else None,
        reel=drawn.reel,
        filmed=_filmed(clip, folder),
    )


def _filmed(clip: PlannedClip, folder: Path) -> Filmed | None:
    if clip.footage is None or clip.set_up is None:
        return None
    return Filmed(_way(folder, clip.footage), clip.set_up)


def _way(folder: Path, file: Path) -> str:
    """A file by its way from a folder."""
    return shown_path(os.path.relpath(file.resolve(), folder.resolve()))


def poster_frame(steps: Sequence[Step], still: Sequence[Still], frames: int, is_secret: bool) -> int:
    """The frame that stands for a clip: the end of the step that draws the aim line, at rest.

    Without one, the end of the first rest that shows most; of a card, which shows nothing that stands on a table,
    of the last. The first frame where more would give an answer away.
    """
    if is_secret or not still:
        return 0 if is_secret else frames - 1

    def shown(rest: Still) -> int:
        return sum(len(pane.shows) for pane in rest.panes)

    aimed = next((rest for rest in still if any(_has_aim(pane) for pane in rest.panes)), None)
    step = aimed and next((s for s in steps if s.first_frame <= aimed.end_frame - 1 < s.end_frame), None)
    if step:
        within = [rest for rest in still if step.first_frame < rest.end_frame <= step.end_frame]
        return max(within, key=shown).end_frame - 1 if within else step.end_frame - 1
    best = max(still, key=shown)
    return (best if shown(best) else still[-1]).end_frame - 1


def thumbnail_frame(
    steps: Sequence[Step], still: Sequence[Still], frames: int, width_px: int, is_secret: bool
) -> int:
    """The frame that stands for a clip where it is shown 320 pixels wide, when labels can't be read.

    Of the rests with an aim line and an object ball that is `THUMBNAIL_BALL` of the picture's width, the one with
    the fewest labels, of these the one with the largest ball, of these the last. Without such a rest the poster.
    """
    aimed = [] if is_secret else [rest for rest in still if any(map(_has_aim, rest.panes))]
    sized = [(rest, max(map(_object_ball_px, rest.panes), default=0.0)) for rest in aimed]
    large = [(rest, size) for rest, size in sized if size >= THUMBNAIL_BALL * width_px]
    if not large:
        return poster_frame(steps, still, frames, is_secret)
    best, _ = min(large, key=lambda one: (len(one[0].labels), -round(one[1]), -one[0].end_frame))
    return best.end_frame - 1


def _object_ball_px(pane: Pane) -> float:
    """The width of the object ball in a pane; 0 where it is not."""
    if pane.view == "inset":
        return 0.0
    P = np.array(pane.projection)
    balls = [ball for ball in pane.shows.balls if ball.role == "object_ball"]
    outlines = [ball_outline(P, np.array(ball.centre_mm), ball.radius_mm) for ball in balls]
    return max((2 * outline.mean_radius_px for outline in outlines if outline.is_seen), default=0.0)


def _has_aim(pane: Pane) -> bool:
    return pane.view != "inset" and any(line.role == "aim_line" for line in pane.shows.lines)


def _translated(told: Sequence[Step], translations: Mapping[str, Sequence[str]]) -> tuple[Step, ...]:
    """The steps with their words in the lesson's other languages, and no others."""
    words = zip(*translations.values(), strict=True) if translations else [()] * len(told)
    return tuple(
        replace(step, translations=dict(zip(translations, each, strict=True)))
        for step, each in zip(told, words, strict=True)
    )


def shown_path(path: str) -> str:
    """A path as the manifest tells it: POSIX, and a letter that is no UTF-8 as a question mark."""
    return os.fsencode(Path(path).as_posix()).decode("utf-8", "replace")


def made_with() -> dict[str, str]:
    """Versions of what made the clips; the font by the start of its file's SHA-256."""
    return {"aimgeo": metadata.version("aimgeo"), **libraries(), "font": f"Inter {font()}"}


def as_json(told: Any) -> bytes:
    """A value of this module as JSON."""
    return orjson.dumps(told, default=_plain)


def _plain(value: Any) -> Any:
    if isinstance(value, Fraction):
        return [value.numerator, value.denominator]
    raise TypeError(f"a manifest holds a {type(value).__name__}")


def planned_manifest(plan: Plan, folder: Path = Path()) -> Manifest:
    """The manifest that the clips of a plan will have in a folder, without what only drawing tells."""
    clips = []
    for clip in plan.clips:
        ends = accumulate(step.frames for step in clip.brief.steps)
        told = tuple(
            Step(step.name, end - step.frames, end, step.narration)
            for step, end in zip(clip.brief.steps, ends, strict=True)
        )
        clips.append(clip_told(clip, f"{clip.name}.mp4", "", Drawn(told, ()), plan.language))
    return Manifest(about(plan, folder), made_with(), tuple(clips))


def about(plan: Plan, folder: Path = Path()) -> About:
    """What the manifest in a folder tells of the lesson."""
    eyes = {name: dict(eye) for name, eye in plan.eyes.items()}
    source = shown_path(plan.file)
    fonts = tuple(OwnFont(_way(folder, Path(font.path)), font.sha256) for font in plan.fonts)
    return About(plan.title, plan.identity, source, plan.language, plan.units, dict(plan.names), eyes, fonts)


def write_manifest(folder: Path, plan: Plan, clips: Iterable[Clip]) -> None:
    """Write the manifest of a lesson's clips, a clip a line."""
    head = {"schema": SCHEMA, "revision": REVISION, "lesson": about(plan, folder), "made_with": made_with()}
    lines = [f'"{key}": '.encode() + as_json(value) for key, value in head.items()]
    lines.append(b'"clips": [\n' + b",\n".join(map(as_json, clips)) + b"\n]")
    write_whole(folder / FILE_NAME, b"{\n" + b",\n".join(lines) + b"\n}\n")


# ------------------------------------------------------------------ reading


def read_manifest(folder: Path) -> Manifest:
    """The manifest of a folder; ManifestError when it is missing or not what it should be."""
    path = folder / FILE_NAME
    try:
        told = orjson.loads(path.read_bytes())
    except FileNotFoundError:
        raise ManifestError(f"{path}: there is no such file; render the lesson into this folder first.") from None
    except OSError as error:
        raise ManifestError(f"{path}: cannot be read: {error.strerror}; make it readable.") from None
    except orjson.JSONDecodeError as error:
        raise ManifestError(f"{path}: not readable as JSON ({error}); render the lesson again.") from None
    if not isinstance(told, dict) or told.get("schema") != SCHEMA:
        raise ManifestError(f"{path}: schema {SCHEMA} was expected; render the lesson again with this version.")
    try:
        found = _MANIFEST.validate_python(_upgraded(told))
    except ValidationError as error:
        raise ManifestError(f"{path}: {_sentence(error)}; render the lesson again.") from None
    if not found.clips:
        raise ManifestError(f"{path}: there are no clips; render the lesson first.")
    return found


def read_clip(told: Any) -> Clip | None:
    """One clip from plain values, as the folder's record keeps it; None when they are of another shape."""
    try:
        return _CLIP.validate_python(_upgraded_clip(told, {}))
    except ValidationError:
        return None


def _upgraded(told: dict[str, Any]) -> dict[str, Any]:
    """A manifest of an earlier revision as one of this."""
    lesson, clips = told.get("lesson"), told.get("clips")
    if told.get("revision", 1) >= REVISION or not isinstance(lesson, dict) or not isinstance(clips, list):
        return told
    return told | {"clips": [_upgraded_clip(clip, lesson) for clip in clips]}


def _upgraded_clip(told: Any, lesson: Mapping[str, Any]) -> Any:
    """Revision 1 told of the first shot alone and not of its identity, and the language beside the lesson."""
    if not isinstance(told, dict):
        return told
    told = {"language": lesson.get("language", "en")} | told
    shot = told.get("shot")
    if "shots" in told or not isinstance(shot, dict):
        return told
    places = [shot.get(key) for key in ("cue_ball_mm", "object_ball_mm", "target_mm")]
    only = {
        "identity": " ".join(str(place) for place in places),
        "cut_deg": shot.get("cut_deg"),
        "side": shot.get("side"),
        "distance_name": told.get("distance_name"),
        "target_name": told.get("target_name"),
        "shot": shot,
    }
    return told | {"shots": [only]}


def _sentence(error: ValidationError) -> str:
    """The first thing that is wrong: where, and what."""
    first = error.errors(include_url=False)[0]
    at = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in first["loc"]).lstrip(".")
    return f"{at}: {first['msg'].removeprefix('Value error, ').lower()}"
