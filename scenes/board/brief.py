"""What a clip is asked to show: aimgeo's values and the finished words. Plain values, no Manim, picklable."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import accumulate, pairwise

from aimgeo.construct import Construction, Position, Quantity
from aimgeo.methods import METHODS
from aimgeo.methods.method import Method
from aimgeo.methods.own import Own
from aimgeo.shot import Shot
from aimgeo.tables import POCKET_NAMES, Pocket, Table
from scenes.board import FilmedCamera
from scenes.board.settings import Settings
from scenes.look.dusk import DUSK
from scenes.look.look import Look


@dataclass(frozen=True, slots=True)
class Output:
    """Frame size in pixels, rate as a fraction of frames a second (numerator, denominator), the first frame's
    time.
    """

    width_px: int
    height_px: int
    rate: tuple[int, int]
    timecode: str = "00:00:00:00"

    @property
    def fps(self) -> float:
        """Frames a second."""
        return self.rate[0] / self.rate[1]

    def frames(self, seconds: float) -> int:
        """Whole frames that last at least `seconds`."""
        return -int(-seconds * self.rate[0] // self.rate[1])


@dataclass(frozen=True, slots=True)
class EyeSpec:
    """An eye as a lesson names it: mm behind the cue ball, to the left of the aim plane, above the cloth.

    `follows_contact`: its offset is that of the contact-point line, whatever the cut.
    """

    name: str
    back_mm: float
    offset_mm: float
    height_mm: float
    follows_contact: bool = False


@dataclass(frozen=True, slots=True)
class Footage:
    """A filmed shot: the clip's name, length and timecode, the camera that was matched, and what the real
    table hides.

    `balls_mm` are the cue ball and the object ball as they were filmed, `others_mm` those beside them; `noses_mm`
    the ends of the cushions' noses. From `begins_at` to `fades_from` camera and balls are in their places.
    `heading` are the lines that stand over the picture.
    """

    name: str
    size_px: tuple[int, int]
    frames: int
    camera: FilmedCamera
    balls_mm: tuple[Position, Position]
    others_mm: tuple[Position, ...] = ()
    noses_mm: tuple[tuple[Position, Position], ...] = ()
    begins_at: int = 0
    fades_from: int | None = None
    heading: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Paint:
    """How a ball is painted: its colour, None for the look's, and its number, 0 for none."""

    colour: str | None = None
    number: int = 0


@dataclass(frozen=True, slots=True)
class Other:
    """Another ball on the table: its centre, its paint, and what it is called, empty for no name."""

    centre_mm: Position
    paint: Paint = Paint()
    name: str = ""


@dataclass(frozen=True, slots=True)
class Media:
    """A picture or a film of the author's: its file and digest, its size as it is seen, a film's first and last
    second.
    """

    file: str
    sha256: str
    width_px: float
    height_px: float
    film_s: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Subject:
    """What the clip is about, before any words. What does not apply is None or empty.

    `companions` are all the shots of a kind that spans axes (a summary's cuts, a split screen's halves), in order;
    the subject's own shot is then the first of them. `settings` are the kind's own; `own` is a method of the
    lesson's own, whose construction this is. `judged` names the method of a clip that judges it over all cuts; a
    card's
    list has `listed` lines, and it shows `media`, as a film does.
    """

    kind: str
    table: Table | None = None
    target_name: str | None = None
    shot: Shot | None = None
    construction: Construction | None = None
    eye: EyeSpec | None = None
    distance_name: str | None = None
    companions: tuple[Subject, ...] = ()
    footage: Footage | None = None
    settings: Settings = field(default_factory=Settings)
    own: Own | None = None
    judged: str | None = None
    media: Media | None = None
    listed: int = 0
    others: tuple[Other, ...] = ()
    object_paint: Paint | None = None
    has_marks: bool = False

    @property
    def pocket(self) -> Pocket | None:
        """The pocket that it goes into, if it is one."""
        if self.table is None or self.target_name not in POCKET_NAMES:
            return None
        return self.table.pocket(self.target_name)

    @property
    def others_mm(self) -> tuple[tuple[float, float], ...]:
        """Where the other balls lie."""
        return tuple(one.centre_mm[:2] for one in self.others)

    @property
    def methods(self) -> Mapping[str, Method]:
        """The methods by which its construction is judged: its own one alone, or those that aimgeo has."""
        return METHODS if self.own is None else {self.own.name: self.own.method(pocket=self.pocket)}


@dataclass(frozen=True, slots=True)
class OutlineStep:
    """A step that a kind will show: sentence key and values, and the seconds its drawing needs at least.

    `after_s` of them belong to what is shown when everything is said. `then` is the key of a sentence that follows
    the step's usual words.
    """

    name: str
    sentence: str
    values: tuple[tuple[str, Quantity], ...] = ()
    measures: tuple[tuple[str, Quantity], ...] = ()
    draws_s: float = 1.2
    after_s: float = 0.0
    then: str = ""


@dataclass(frozen=True, slots=True)
class MeasureText:
    """A worded measure: 'Contact offset', '10.7', 'mm'. The unit may be empty."""

    key: str
    name: str
    number: str
    unit: str


NEXT = "|"
"""In a narration, and among a clause's names: here the next part of the step's drawing begins."""


@dataclass(frozen=True, slots=True)
class Clause:
    """A part of a step's narration: when it is spoken, as parts [start, end) of the step's length, its words, and
    the names of what it speaks of: roles, ids, measures, or `NEXT` for what is drawn next."""

    start: float
    end: float
    text: str
    names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class BriefStep:
    """A step with its words and its length in frames.

    `pace`: all that moves in it runs so many times as fast as it is drawn. `note` is for whoever speaks, and is
    not shown.
    """

    name: str
    title: str
    narration: str
    frames: int
    measures: tuple[MeasureText, ...] = ()
    clauses: tuple[Clause, ...] = ()
    pace: float = 1.0
    note: str = ""


LOWER_THIRD = "lower_third"
"""The role of its parts, and the id of its plate."""


@dataclass(frozen=True, slots=True)
class LowerThird:
    """Who speaks, and a second line, empty for none: it comes in with a step and stands for some seconds."""

    step: str
    name: str
    under: str = ""
    seconds: float = 4.0


@dataclass(frozen=True, slots=True)
class Brief:
    """Everything a scene needs to draw one clip.

    `labels` are the words of the picture by key: roles ('aim_line': 'Aim line'), fixed words ('head', 'foot'),
    and finished phrases ('heading': 'Cut 30.0° left, centres 640 mm apart'). `handle_frames` are held before the
    first step and after the last one, for an editor to cut into. `skipped` are steps that the kind draws and the
    clip leaves out, each with its place among all.
    """

    name: str
    subject: Subject
    output: Output
    steps: tuple[BriefStep, ...]
    labels: Mapping[str, str] = field(default_factory=dict)
    look: Look = DUSK
    rows: tuple[tuple[str, ...], ...] = ()
    handle_frames: int = 0
    skipped: tuple[tuple[int, BriefStep], ...] = ()
    lower_third: LowerThird | None = None

    def whole(self) -> Brief:
        """The same with every step that the kind draws, without handles."""
        steps = list(self.steps)
        for at, step in self.skipped:
            steps.insert(at, step)
        return replace(self, steps=tuple(steps), skipped=(), handle_frames=0)

    @property
    def frames(self) -> int:
        """Length of the clip without its handles."""
        return sum(step.frames for step in self.steps)

    def check_steps(self, outline: Sequence[OutlineStep], what: str) -> None:
        """Raises ValueError when the steps are not those of the kind's outline; `what` the clip is, in words."""
        expected = [step.name for step in outline]
        if [step.name for step in self.steps] != expected:
            raise ValueError(f"{what} has the steps {', '.join(expected)}")

    @property
    def spans(self) -> list[tuple[int, int]]:
        """The frames [first, end) of each step, without the handles."""
        return list(pairwise(accumulate((step.frames for step in self.steps), initial=0)))
