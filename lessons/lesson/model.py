"""The model of a lesson file: its keys, their defaults and their checks. The JSON Schema comes from here too."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Discriminator,
    Field,
    PlainValidator,
    Tag,
    ValidationError,
    ValidationInfo,
    create_model,
    model_validator,
)
from pydantic_core import PydanticKnownError

from aimgeo.methods.own import Own
from aimgeo.tables import NOSE_PART, TABLES, Table
from lessons.lesson import explain, values
from lessons.lesson.beside import with_methods_files
from lessons.lesson.faults import Fault, LessonError, Place
from lessons.lesson.fields import (
    OWN_NAMES,
    UNITS,
    Colour,
    CutValue,
    Language,
    LengthValue,
    Mark,
    Method,
    Name,
    Number,
    Pace,
    Pocket,
    PositiveLength,
    Rate,
    Seconds,
    Side,
    Size,
    Spot,
    WhenRead,
    Words,
    choice,
    hyphened,
    listed,
    measured,
    one_or_more,
    setting_field,
)
from lessons.lesson.names import Names, names_texts
from lessons.lesson.own import OwnMethodKeys, OwnMethods, own_texts, read_own
from lessons.lesson.read import Keys, Node, Text, plain, read, read_text
from lessons.lesson.texts import ShownText, SpokenText, Strict, Translated
from lessons.lesson.timing import PAUSE_A_SENTENCE_S, WORDS_A_MINUTE
from lessons.lesson.values import Length
from scenes.board.settings import Setting, settings_of
from scenes.film.forms import CHOSEN_FORMS
from scenes.kinds import CLIP_KINDS
from scenes.kinds.kind import Kind
from scenes.look import LOOKS
from scenes.look.fonts import FontFile
from scenes.look.look import Look

if TYPE_CHECKING:
    from lessons.lesson.look_file import LowerThirdKeys

AXES = {"method": "methods", "cut": "cuts", "side": "sides", "distance": "distances", "eye": "eyes"}
"""The axes of the matrix, in the order in which they multiply, each with its key in a lesson file."""

AXIS_FIELDS: dict[str, Any] = {
    "method": one_or_more(Method, "Aiming methods; all by default."),
    "cut": one_or_more(CutValue, "Cuts out of the lesson's; all by default."),
    "side": one_or_more(Side, "Sides to which the object ball goes; all of the lesson's by default."),
    "distance": one_or_more(Name, "Names of the lesson's distances; all by default."),
    "eye": one_or_more(Name, "Names of the lesson's eyes; all by default."),
}

FileNames: Any = one_or_more(Words, "Files beside the lesson, whose own_methods are added to the lesson's.")
MOST_ONLY = 40


def _once(steps: tuple[tuple[str, ...], ...]) -> tuple[tuple[str, ...], ...]:
    seen: set[str] = set()
    for name in chain.from_iterable(steps):
        if hyphened(name) in seen:
            raise values.Refused(f"step '{name}' is named twice; a clip shows a step once.", "given-twice")
        seen.add(hyphened(name))
    return steps


Only: Any = Annotated[
    tuple[one_or_more(Annotated[str, Field(max_length=80)]), ...],  # type: ignore[misc]
    BeforeValidator(listed),
    Field(min_length=1, max_length=MOST_ONLY),
    AfterValidator(_once),
]
ALIGNMENTS = ("aim-line", "contact-line", "cue-edge-left", "cue-edge-right")
DEFAULT_CUTS = ("3/4", "1/2", "1/4")
DEFAULT_DISTANCES = {"near": "300 mm", "far": "800 mm"}
DEFAULT_EYES: Any = {"player": {"back": "600 mm", "height": "300 mm"}}


class Eye(Strict):
    """An eye: behind the cue ball, above the cloth, and beside the aim by an offset or a named alignment."""

    back: PositiveLength = Field(description="Behind the cue ball's centre, along the aim line.")
    height: PositiveLength = Field(description="Above the cloth.")
    offset: LengthValue | None = Field(None, description="Left of the plane through the aim line; minus is right.")
    alignment: choice(ALIGNMENTS) | None = Field(None, description="The line over which the eye stands.")  # type: ignore[valid-type]

    @model_validator(mode="after")
    def _one_offset(self) -> Eye:
        if self.offset is not None and self.alignment is not None:
            raise ValueError("has both 'offset' and 'alignment'; an eye stands in one place, so leave one out.")
        return self


class Output(Strict):
    """The picture: its size, frame rate and look."""

    size: Size = Field("1080p", validate_default=True, description="A name, or width x height in pixels.")
    rate: Rate = Field("60", validate_default=True, description="Frames a second.")
    theme: choice(LOOKS) = Field("dusk", description="The look.")  # type: ignore[valid-type]
    look: Words | None = Field(
        None, description="A file beside the lesson with a look of your own, for the theme."
    )
    handles: Seconds | None = Field(
        None, description="Seconds held before the first step and after the last one, to cut into."
    )
    form: choice(CHOSEN_FORMS) = Field("h264", description="The files' form.")  # type: ignore[valid-type]
    lengths: Literal["free", "locked"] = Field(
        "free", description="Whether clips that were delivered keep their frames."
    )


class Speech(Strict):
    """How fast the narration is spoken: gives a step its length where no recording does."""

    words_a_minute: float = Field(WORDS_A_MINUTE, ge=60, le=300, description="Speaking rate.")
    pause: Seconds = Field(PAUSE_A_SENTENCE_S, description="Seconds after each sentence.")


class Recordings(Strict):
    """Where the spoken narration lies: a file for each clip, in a folder, or one file for the lesson.

    A scratch voice can speak what isn't recorded.
    """

    folder: Words | None = Field(None, description="A folder beside the lesson: <clip>.wav, .mp3, .m4a, .aac.")
    file: Words | None = Field(None, description="A recording of several clips, beside the lesson.")
    marks: dict[str, tuple[Mark, ...]] = Field(
        default_factory=dict, description="By clip: where each step starts in its recording, in seconds."
    )

    voice: Literal["espeak-ng"] | None = Field(None, description="A program that speaks what is not recorded.")

    @model_validator(mode="after")
    def _one_place(self) -> Recordings:
        if self.folder is not None and self.file is not None:
            raise ValueError("has both 'folder' and 'file'; leave one out.")
        if self.folder is self.file is self.voice is None:
            raise ValueError("needs 'folder', 'file' or 'voice'.")
        if self.marks and self.folder is self.file is None:
            raise ValueError("has 'marks' of no recording; name its 'file' or 'folder'.")
        return self


def _rail(value: Any) -> Any:
    return re.sub(r"[\s_-]*(rail|cushion)$", "", value.strip().lower()) if isinstance(value, str) else value


Rail: Any = Annotated[Literal["foot", "head", "left", "right"], BeforeValidator(_rail)]


class CushionPoint(Strict):
    """A place on a cushion, as a target: where a ball touches it."""

    rail: Rail = Field(description="The cushion.")
    at: LengthValue = Field(
        description="How far along it from the bed's middle: towards the foot, or to the left."
    )


Target: Any = Annotated[
    Annotated[Spot, Tag("place")] | Annotated[CushionPoint, WhenRead(), Tag("cushion")],
    Discriminator(lambda value: "cushion" if isinstance(value, dict | CushionPoint) else "place"),
]


class OtherBall(Strict):
    """Another ball on the table."""

    at: Spot = Field(description="Where it lies, [x, y] from the bed's centre.")
    colour: Colour | None = Field(None, description="#RRGGBB; that of its number, or the look's, by default.")
    number: Number | None = Field(None, description="1 to 15; from 9 on it is striped.")
    in_the_way: bool = Field(False, description="That it lies in the way is meant.")
    name: ShownText | None = Field(None, description="What people call it, in pictures, words and on sheets.")


OtherBallRead = Annotated[OtherBall, WhenRead()]


class ObjectBall(Strict):
    """What the object ball looks like."""

    colour: Colour | None = Field(None, description="#RRGGBB; that of its number, or the look's, by default.")
    number: Number | None = Field(None, description="1 to 15; from 9 on it is striped.")


class CueBall(Strict):
    """What the cue ball looks like."""

    marks: bool = Field(False, description="Six dots on it show how it rolls.")


class StepWords(Strict):
    """What a lesson changes about one step. Texts may hold fields such as {cut}."""

    title: ShownText | None = Field(None, description="On screen; break lines by hand.")
    narration: SpokenText | None = Field(None, description="What is said.")
    seconds: Seconds | None = Field(None, description="The step's length, in place of the length of its words.")
    pause: Seconds | None = Field(None, description="Seconds to look, after the words and the drawing.")
    pace: Pace | None = Field(None, description="How fast it is drawn or played: 1/2 is half as fast, 2 twice.")
    note: SpokenText | None = Field(None, description="For whoever speaks: in the script, not in the picture.")
    lower_third: bool | None = Field(None, description="The look's lower third comes in with it.")


StepChanges = dict[str, Annotated[StepWords, WhenRead()]]


class Changes(Strict):
    """What a group, or an override for some of its clips, may set."""

    pocket: Pocket | None = Field(None, description="The target pocket, in place of the lesson's.")
    spot: Spot | None = Field(None, description="Where the object ball lies, in place of the lesson's.")
    target: Target | None = Field(None, description="A place, or one on a cushion, in place of a pocket.")
    others: one_or_more(OtherBallRead, "Other balls on the table, in place of the lesson's.") = ()  # type: ignore[valid-type]
    narration: SpokenText | None = Field(None, description="What is said in a clip of a single step.")
    steps: StepChanges = Field(default_factory=dict, description="Changes to steps, by the step's name.")
    only: Only = Field((), description="The only steps, in this order; a list within the list is one step.")
    split: one_or_more(str, "Steps whose points and lines become steps of their own.") = ()  # type: ignore[valid-type]


class Group(Changes):
    """A group of clips of one kind."""

    kind: str
    name: Name | None = Field(None, description="Stands in the clips' names in place of the kind.")


class CardGroup(Group):
    """A card, which no axis multiplies."""

    title: ShownText | None = Field(None, description="On the card; at most two lines.")


CARD_TEXTS = {
    "over": "The small line over the title.",
    "under": "One sentence under the title.",
    "text": "Text under the title; break lines by hand.",
}
"""What a card may say beside its title."""
CARD_PARTS: dict[str, Any] = {
    "lines": (one_or_more(ShownText, "A list whose lines come one by one."), ()),
    "picture": (Words | None, Field(None, description="A picture beside the lesson: PNG, JPEG or SVG.")),
}
"""What else may stand on a card."""
FILM_KEYS: dict[str, Any] = {
    "film": (Words, Field(description="A video file beside the lesson.")),
    "begin": (Mark | None, Field(None, description="The second at which it begins, in place of its start.")),
    "end": (Mark | None, Field(None, description="The second at which it ends, in place of its end.")),
}


def setting_help(setting: Setting) -> str:
    """A setting's line of help: what it says, its bounds, and with which other setting it has a meaning."""
    only = f"with {setting.only[0]}: {setting.only[1]}" if setting.only else ""
    return ", ".join(part for part in (setting.says, setting.range, only) if part)


@cache
def group_model(kind: Kind) -> type[Group]:
    """The model of a clip group of a kind: the axes that multiply it, or that it spans, become keys."""
    stem = "".join(word.title() for word in kind.name.split("-"))
    literal: Any = Literal[kind.name]
    axes: dict[str, Any] = {
        AXES[axis]: (AXIS_FIELDS[axis], ()) for axis in AXES if axis in (*kind.axes, *kind.spans)
    }
    settings: dict[str, Any] = {
        one.key: (setting_field(one), Field(_default(one), description=setting_help(one)))
        for one in settings_of(kind.settings)
    }
    texts: dict[str, Any] = {
        key: (ShownText | None, Field(None, description=says))
        for key, says in CARD_TEXTS.items()
        if key in kind.texts
    }
    texts |= {key: part for key, part in CARD_PARTS.items() if key in kind.texts}
    base = CardGroup if kind.is_card else Group
    described: Any = Field(description=kind.shows[:1].upper() + kind.shows[1:] + ".")
    more: dict[str, Any] = {}
    if kind.axes:
        selector, override = _choosing(frozenset(kind.axes))
        more = {
            "exclude": (one_or_more(selector, "Combinations that are not made."), ()),
            "overrides": (
                one_or_more(override, "Changes for some of the clips; a later one wins."),
                (),
            ),
        }
    if {"cut", "side", "distance"} <= {*kind.axes}:
        says = "Where the cue ball lies; cut, side and distance follow from it, `spot` and target."
        more["cue_ball"] = (Spot | None, Field(None, description=says))
    if kind.is_filmed:
        more["footage"] = (one_or_more(Words, "Match files of filmed shots, beside the lesson."), ...)
    if kind.is_film:
        more |= FILM_KEYS
    keys = {**axes, **texts, **settings, **more}
    return create_model(f"{stem}Group", __base__=base, kind=(literal, described), **keys)


@cache
def _choosing(axes: frozenset[str]) -> tuple[Any, Any]:
    """The types of an exclusion and of an override on some axes, which several kinds share."""
    named = [axis for axis in AXES if axis in axes]
    chosen: dict[str, Any] = {AXES[axis]: (AXIS_FIELDS[axis], ()) for axis in named}
    stem = "".join(axis.title() for axis in named)
    selector = create_model(f"{stem}Selector", __base__=Strict, **chosen)
    override = create_model(f"{stem}Override", __base__=Changes, **chosen)
    return Annotated[selector, WhenRead()], Annotated[override, WhenRead()]


def _default(setting: Setting) -> Any:
    """A setting's default as the schema tells it; a planned clip takes that of the kind's settings."""
    is_number = not isinstance(setting.default, str | bool)
    return setting.written(setting.default) if is_number and setting.unit else setting.default


class OwnTable(Strict):
    """A table by its measures, between the noses; what is left out is as on a 9 ft pool table."""

    length: measured("length", 1000, 5000) = Field(description="Of the bed.")  # type: ignore[valid-type]
    width: measured("width", 500, 3000) = Field(description="Of the bed.")  # type: ignore[valid-type]
    corner_mouth: measured("corner_mouth", 40, 250) | None = Field(None, description="Of the corner pockets.")  # type: ignore[valid-type]
    side_mouth: measured("side_mouth", 40, 250) | None = Field(None, description="Of the side pockets.")  # type: ignore[valid-type]
    ball: measured("ball", 20, 120) | None = Field(None, description="Diameter of the balls.")  # type: ignore[valid-type]
    nose: measured("nose", 10, 100) | None = Field(None, description="How high the noses are.")  # type: ignore[valid-type]
    sights: bool = Field(True, description="Whether the rails have sights.")
    jaws: Literal["straight", "rounded"] = Field("straight", description="How the cushions end at the pockets.")

    @model_validator(mode="after")
    def _pockets_take_balls(self) -> OwnTable:
        table = self.table()
        if table.width_mm > table.length_mm:
            raise ValueError("is wider than long; the length runs from head to foot.")
        for key, mouth in (("corner_mouth", table.corner_mouth_mm), ("side_mouth", table.side_mouth_mm)):
            if mouth <= table.ball_mm:
                raise ValueError(f"has a {key} of {mouth:g} mm, which takes no ball of {table.ball_mm:g} mm.")
        return self

    def table(self) -> Table:
        """The table as aimgeo knows it."""
        usual = TABLES["9ft"]

        def mm(length: Length | None, default_mm: float) -> float:
            return default_mm if length is None else length.mm(0.0, 0.0)

        ball_mm = mm(self.ball, usual.ball_mm)
        return Table(
            OWN_TABLE,
            mm(self.length, 0.0),
            mm(self.width, 0.0),
            mm(self.corner_mouth, usual.corner_mouth_mm),
            mm(self.side_mouth, usual.side_mouth_mm),
            "given",
            ball_mm,
            mm(self.nose, NOSE_PART * ball_mm),
            self.sights,
            self.jaws,
        )


OWN_TABLE = "own-table"
TableKey: Any = Annotated[
    Annotated[choice(TABLES), Tag("name")] | Annotated[OwnTable, Tag("own")],
    Discriminator(lambda value: "own" if isinstance(value, dict | OwnTable) else "name"),
]


class PreviewPart(Strict):
    """A part of the preview: steps of a clip."""

    clip: Words = Field(description="The clip's name, as `aimgeo plan` lists it.")
    steps: tuple[Words, ...] = Field((), description="The names of its steps; all of them if left out.")


def _group(value: Any, info: ValidationInfo) -> Group:
    """A group by the model of its kind, which is built when a lesson has such a group."""
    if isinstance(value, Group):
        return value
    if not isinstance(value, dict):
        raise PydanticKnownError("dict_type")
    if "kind" not in value:
        raise PydanticKnownError("union_tag_not_found", {"discriminator": "kind"})
    kind = value["kind"]
    if not isinstance(kind, str) or kind not in CLIP_KINDS:
        told = {"discriminator": "kind", "tag": str(kind), "expected_tags": ", ".join(CLIP_KINDS)}
        raise PydanticKnownError("union_tag_invalid", told)
    return group_model(CLIP_KINDS[kind]).model_validate(value, context=info.context)


class LessonKeys(Strict):
    """The keys of a lesson file."""

    title: ShownText = Field(description="The lesson's title.")
    identity: Name | None = Field(None, description="A short name for file names; the file's own by default.")
    language: one_or_more(Language, "Languages of the words; the first is that of the pictures.") = ("en",)  # type: ignore[valid-type]
    units: Literal["mm", "in", "ball"] = Field(
        "mm", description="Units shown: millimetres, inches, ball fractions."
    )
    table: TableKey = Field("9ft", description="The table: a named size, or its own measures.")
    ball: PositiveLength | None = Field(None, description="Diameter of the balls; the table's by default.")
    cuts: one_or_more(CutValue, "The cuts of the lesson.") = Field(DEFAULT_CUTS, validate_default=True)  # type: ignore[valid-type]
    sides: one_or_more(Side, "The sides to which the object ball goes.") = ("left", "right")  # type: ignore[valid-type]
    distances: dict[Name, PositiveLength] = Field(
        DEFAULT_DISTANCES, validate_default=True, min_length=1, description="Centre distances by name."
    )
    pocket: Pocket = Field("foot-left", description="The target pocket.")
    spot: Spot | None = Field(None, description="Where the object ball lies, [x, y] from the bed's centre.")
    target: Target | None = Field(None, description="A place [x, y], or one on a cushion, in place of a pocket.")
    others: one_or_more(OtherBallRead, "Other balls on the table.") = ()  # type: ignore[valid-type]
    object_ball: ObjectBall | None = Field(None, description="What the object ball looks like.")
    cue_ball: CueBall | None = Field(None, description="What the cue ball looks like.")
    own_methods: OwnMethods = Field(default_factory=dict, description="Methods of one's own, by name.")
    methods_files: FileNames = ()
    eyes: dict[Name, Eye] = Field(DEFAULT_EYES, validate_default=True, min_length=1, description="Eyes by name.")
    names: Names = Field(
        default_factory=lambda: Names.model_validate({}), description="What people read in place of plain names."
    )
    output: Output = Field(default_factory=lambda: Output.model_validate({}), description="The picture.")
    speech: Speech = Field(default_factory=lambda: Speech.model_validate({}), description="How fast the words go.")
    recordings: Recordings | None = Field(None, description="The spoken narration, which then gives the times.")
    preview: tuple[PreviewPart, ...] = Field((), description="Steps that make a short film to show to anyone.")
    clips: tuple[Annotated[Any, PlainValidator(_group)], ...] = Field(
        min_length=1, description="The groups of clips, in order."
    )

    def known_table(self) -> Table:
        """The lesson's table."""
        table: Table = self.table.table() if isinstance(self.table, OwnTable) else TABLES[self.table]
        return table

    def ball_mm(self) -> float:
        """How wide the balls are: as the lesson says, else as the table is made for."""
        return self.known_table().ball_mm if self.ball is None else self.ball.mm(0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Lesson:
    """A lesson file that holds together: its keys, and the place of each of them."""

    file: str
    identity: str
    keys: LessonKeys
    tree: Node
    own: Mapping[str, Own] = field(default_factory=dict)
    """Methods of its own, by their keys."""
    look: Look | None = None
    """A look of its own."""
    logo: Path | None = None
    fonts: tuple[tuple[FontFile, Place], ...] = ()
    """The fonts of its look, the words' first, each with the place that names it."""
    lower_third: LowerThirdKeys | None = None
    """Its look's."""
    notes: tuple[Fault, ...] = ()
    """What is read without complaint and may not be meant."""

    def place(self, *location: str | int) -> Place:
        """Where a value stands in the file: as near as the file says it."""
        return explain.place_of(self.tree, location)

    def place_of_key(self, *location: str | int) -> Place:
        """Where the key of a value stands."""
        return explain.place_of(self.tree, location, of_key=True)


def with_output(
    lesson: Lesson, size: tuple[int, int] | None = None, rate: tuple[int, int] | None = None
) -> Lesson:
    """The lesson with another frame size or rate."""
    other = {key: value for key, value in (("size", size), ("rate", rate)) if value is not None}
    output = lesson.keys.output.model_copy(update=other)
    return replace(lesson, keys=lesson.keys.model_copy(update={"output": output}))


def others_texts(
    at: explain.Location, others: Sequence[OtherBall]
) -> Iterator[tuple[explain.Location, Translated]]:
    """The names of other balls, with their locations."""
    for k, one in enumerate(others):
        if one.name is not None:
            yield (*at, "others", k, "name"), one.name


def texts(keys: LessonKeys) -> Iterator[tuple[explain.Location, Translated]]:
    """Every text of a lesson that is shown or said, with its location."""
    yield ("title",), keys.title
    yield from own_texts(keys.own_methods)
    yield from names_texts(keys.names)
    yield from others_texts((), keys.others)
    for index, group in enumerate(keys.clips):
        places: list[tuple[explain.Location, Any]] = [(("clips", index), group)]
        places += [
            (("clips", index, "overrides", k), one) for k, one in enumerate(getattr(group, "overrides", ()))
        ]
        for at, changes in list(places):
            places += [((*at, "steps", name), step) for name, step in changes.steps.items()]
        for at, holder in places:
            yield from others_texts(at, getattr(holder, "others", ()))
            for key in ("title", *CARD_TEXTS, "narration"):
                if (text := getattr(holder, key, None)) is not None:
                    yield (*at, key), text
            for k, line in enumerate(getattr(holder, "lines", ())):
                yield (*at, "lines", k), line


def load(path: Path, shown_as: str | None = None) -> Lesson:
    """The lesson in a file. Raises LessonError with every fault of the file's form and keys."""
    return _lesson(read(path, shown_as), shown_as or path.as_posix(), path.stem, path.parent)


def loads(text: bytes | str, name: str = "lesson.yaml") -> Lesson:
    """The lesson in a text, as if it stood in a file of that name."""
    return _lesson(read_text(text, name), name, Path(name).stem, Path(name).parent)


def slug(text: str) -> str:
    """A text as a part of a file name."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:32].strip("-") or "lesson"


NAMED_BY_LESSONS = {
    "look": ("a look", "`output: {look: FILE}`"),
    "own_methods": ("methods", "`methods_files: FILE`"),
    "footage": ("a match", "`footage: FILE` in a group"),
}
"""Files that lessons name, by the key that tells them: what they hold, and how a lesson names them."""


def _lesson(tree: Node, file: str, stem: str, folder: Path) -> Lesson:
    if not isinstance(tree, Keys):
        raise LessonError(
            [
                Fault(
                    tree.place,
                    "is no lesson; a lesson is a mapping of keys: title, clips and others.",
                    "wrong-shape",
                )
            ]
        )
    for key, (holds, named) in NAMED_BY_LESSONS.items():
        if key in tree.entries and not {"title", "clips"} & tree.entries.keys():
            sentence = f"holds {holds}, and is no lesson; name it in one, {named}, and check that."
            raise LessonError([Fault(tree.entries[key][0], sentence, "wrong-shape")])
    faults: list[Fault] = []
    tree = with_methods_files(tree, folder, faults)
    if faults:  # what a lost method is used for would be told as another fault
        raise LessonError(faults)
    faults += explain.empty_values(tree)
    known: dict[int, Any] = {}
    data = plain(tree)
    own: dict[str, Own] = {}
    known[OWN_NAMES] = _own_names(data)
    known[UNITS] = data.get("units") or "mm"
    try:
        keys = LessonKeys.model_validate(data, context=known)
    except ValidationError as error:
        faults += [
            f for e in error.errors(include_url=False) if (f := explain.fault(e, tree, data, known, _belongs))
        ]
    else:
        faults += _untranslated(keys, tree)
        faults += _of_no_shot(keys, tree)
        own = read_own(keys.own_methods, lambda at: explain.place_of(tree, at), faults)
    look = None
    if not faults and keys.output.look is not None:
        from lessons.lesson.look_file import read_look

        look = read_look(_text(tree, ("output", "look")), folder, faults)
    if faults:
        raise LessonError(faults)
    notes = [note for at, _ in texts(keys) for note in explain.notes(tree, at)]
    cuts = [("cuts",), *(("clips", k, "cuts") for k in range(len(keys.clips)))]
    notes += [note for at in cuts for note in explain.split_numbers(tree, at)]
    return Lesson(
        file, keys.identity or slug(stem), keys, tree, own, notes=tuple(sorted(set(notes))), **(look or {})
    )


def _belongs(key: str, where: explain.Location, holder: Any, group: Any) -> str:
    """Where a key belongs that stands in the wrong place: the lesson, a group of clips, or a part of it."""
    # what is written as a kind may be anything
    kind = CLIP_KINDS.get(str(group.get("kind"))) if isinstance(group, Mapping) else None
    if kind is not None and ({"exclude", "overrides"} & {*where}) and len(where) == 4:
        return _chooses(key, kind, str(where[2]))
    is_group = isinstance(holder, Mapping) and "kind" in holder
    is_outside = isinstance(holder, Mapping) and ("clips" in holder or is_group)
    found = ["in a step of 'steps'"] if is_group and key in StepWords.model_fields else []
    found += [f"in '{name}'" for name in PARTS if is_outside and key in PARTS[name].model_fields]
    kinds = [name for name, one in CLIP_KINDS.items() if key in group_model(one).model_fields]
    told = f"it is a key of the kind{'s' if len(kinds) > 1 else ''} {', '.join(kinds)}"
    if is_group and kinds:
        return (
            "; a step's stands in 'steps'".join((told, ""))
            if key == "title"
            else " or belongs ".join((told, *found))
        )
    if found:
        return f"it belongs {' or '.join(found)}"
    if key in OwnMethodKeys.model_fields and is_group and key != "name":
        return "it belongs in a method of 'own_methods'"
    if key in LessonKeys.model_fields:
        return "it belongs to the lesson, at the left edge"
    return "it belongs in a group of clips" if kinds else ""


PARTS: dict[str, type[Strict]] = {"output": Output, "speech": Speech}


def _chooses(key: str, kind: Kind, part: str) -> str:
    """Why an exclusion or an override of a kind does not know a key that is known elsewhere."""
    by = " or ".join(filter(None, (", ".join(AXES[axis] for axis in kind.axes[:-1]), AXES[kind.axes[-1]])))
    if key in AXES.values():
        return f"a {kind.name} clip is one for all {key}; choose by {by}"
    if key not in group_model(kind).model_fields and key not in StepWords.model_fields:
        return ""
    if part == "exclude":
        return f"an exclusion only chooses clips, by {by}"
    if key in ("kind", "name", "exclude", "overrides"):
        return "an override changes clips of its group; write another group for it"
    return "it belongs in a step of 'steps'" if key in StepWords.model_fields else "it belongs in the group itself"


def _untranslated(keys: LessonKeys, tree: Node) -> Iterator[Fault]:
    """Texts that a language of the lesson lacks."""
    for at, text in texts(keys):
        lacks = [one for one in keys.language if not isinstance(text, str) and text.in_language(one) is None]
        if isinstance(text, str) and len(keys.language) > 1:
            each = ", ".join(f"{one}: ..." for one in keys.language)
            sentence = f"the lesson is in {' and '.join(keys.language)}: write this text in each, {{{each}}}."
            yield Fault(explain.place_of(tree, at), sentence, "language")
        elif lacks:
            sentence = f"'{lacks[0]}' is missing; the lesson is in that language."
            yield Fault(explain.place_of(tree, at), sentence, "language")


def _of_no_shot(keys: LessonKeys, tree: Node) -> Iterator[Fault]:
    """What a card or a film says about a shot that it doesn't show."""
    for index, group in enumerate(keys.clips):
        kind = CLIP_KINDS[group.kind]
        for key in ("pocket", "spot", "target", "others"):
            if key in group.model_fields_set and not (kind.axes or kind.spans):
                place = explain.place_of(tree, ("clips", index, key), of_key=True)
                yield Fault(place, f"a {kind.name} clip shows no shot; leave '{key}' out.", "setting")


def _text(tree: Node, location: explain.Location) -> Text:
    """The single value at a location that the model has found there."""
    here = tree
    for part in location:
        assert isinstance(here, Keys)
        here = here.entries[str(part)][1]
    assert isinstance(here, Text)
    return here


def _own_names(data: Any) -> tuple[str, ...]:
    """The names of the methods of one's own, so that the groups may ask for them."""
    own = data.get("own_methods") if isinstance(data, dict) else None
    return tuple(own) if isinstance(own, dict) else ()
