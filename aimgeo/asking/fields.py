"""The table of everything that a request may hold: what each key means, which values it takes, where they go.

One entry a key, inner keys with their part's name before a dot. Out of it come the reading of a value and its
refusals, the quick reading of many requests at once (`aimgeo.asking.asked`), the columns of a batch, and the help
of the command line. What must hold between keys is said in `aimgeo.asking.request`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from aimgeo.shot import BALL_DIAMETER_MM
from aimgeo.tables import TABLES

LARGEST = 1e9
"""Numbers beyond this are refused: a thousand kilometres in mm, where 1e-6 mm is no longer resolved."""
SMALLEST_BALL_MM = 1e-3
MOST_MISSES = 1_000_000
ABOVE_0 = math.nextafter(0.0, 1.0)


class Refusal(ValueError):  # noqa: N818 - the trade of this package is refusing
    """A request that has no answer: `code`, a sentence, and the key it concerns (None: the request as a whole)."""

    def __init__(self, code: str, message: str, field: str | None) -> None:
        super().__init__(message)
        self.code, self.message, self.field = code, message, field

    def as_dict(self) -> dict[str, Any]:
        """The refusal as it stands in an answer."""
        return {"code": self.code, "message": self.message, "field": self.field}


# ------------------------------------------------------------------ kinds of fields


@dataclass(frozen=True, slots=True)
class Number:
    """A number from `least` to `most`, in a column of its own; beyond, `refusal` says why, with `code`.

    `is_alone`: nothing else in the request bears on whether it is allowed.
    """

    key: str
    says: str = ""
    least: float = -LARGEST
    most: float = LARGEST
    refusal: str = ""
    code: str = "bad_value"
    is_whole: bool = False
    is_alone: bool = True
    default: float = math.nan

    @property
    def columns(self) -> dict[str, float]:
        """Names of its columns with their values where it is not given."""
        return {self.key: self.default}

    def read(self, value: Any, row: list[float], column: int) -> None:
        """Writes the value into the row from its column on. Raises Refusal."""
        number = finite(value, self.key)
        if self.is_whole and not (number == int(number) and self.least <= number <= self.most):
            raise Refusal(
                self.code,
                f"{self.key} must be a whole number from {self.least:g} to {self.most:g}, not {number:g}.",
                self.key,
            )
        if not self.least <= number <= self.most:
            raise Refusal(self.code, self.refusal.format(key=self.key, value=number), self.key)
        row[column] = number


@dataclass(frozen=True, slots=True)
class Place:
    """A point [x, y] or [x, y, z] in mm, in as many columns; or one of some words, whose code goes in one more.

    `least`: the least value of each coordinate. `others` tells in words what a text stands for, if for anything;
    with `words` None, what text is allowed is for `aimgeo.asking.request` to say.
    """

    key: str
    says: str = ""
    least: tuple[float, ...] = (-LARGEST, -LARGEST)
    refusal: str = ""
    words: Mapping[str, float] | None = None
    word_column: str = ""
    others: str = ""

    @property
    def columns(self) -> dict[str, float]:
        """As for a number."""
        own = dict.fromkeys([f"{self.key}.{axis}" for axis in "xyz"[: len(self.least)]], math.nan)
        return own | ({self.word_column: 0.0} if self.word_column else {})

    def read(self, value: Any, row: list[float], column: int) -> None:
        """As for a number."""
        kind, count = type(value), len(self.least)
        if kind is str and self.others and (self.words is None or value in self.words):
            if self.words is not None:
                row[column + count] = self.words[value]
            return
        if self.others and kind is not list:
            wanted = f"[x, y{', z' * (count == 3)}] in mm"
            raise Refusal("bad_value", f"{self.others} {wanted}, not {shown(value)}.", self.key)
        for k, number in enumerate(point(value, self.key, count)):
            if number < self.least[k]:
                raise Refusal("bad_value", self.refusal.format(key=self.key, value=number), self.key)
            row[column + k] = number
        if self.words is not None:
            row[column + count] = POINT


@dataclass(frozen=True, slots=True)
class Word:
    """One of some words (or null), each with the values of its columns; the first set is the default."""

    key: str
    names: tuple[str, ...]
    choices: Mapping[str | None, tuple[float, ...]]
    subject: str
    says: str = ""
    default: tuple[float, ...] = (math.nan,)
    code: str = "bad_value"

    @property
    def columns(self) -> dict[str, float]:
        """As for a number."""
        return dict(zip(self.names, self.default, strict=True))

    def read(self, value: Any, row: list[float], column: int) -> None:
        """As for a number."""
        if type(value) is not str and not (value is None and None in self.choices):
            raise Refusal("bad_value", f"{self.subject} {self._all()}, not {shown(value)}.", self.key)
        if value not in self.choices:
            raise Refusal(self.code, f"{self.subject} {self._all()}, not {shown(value)}.", self.key)
        row[column : column + len(self.names)] = self.choices[value]

    def _all(self) -> str:
        return one_of("null" if word is None else word for word in self.choices)


@dataclass(frozen=True, slots=True)
class Free:
    """What has no fixed length, and so no column: `check` gives the value as it is kept, or raises Refusal."""

    key: str
    check: Callable[[Any], Any]
    says: str = ""

    @property
    def columns(self) -> dict[str, float]:
        """As for a number: none."""
        return {}


@dataclass(frozen=True, slots=True)
class Part:
    """An object with keys of its own; `needed` are those that it cannot do without."""

    key: str
    needed: tuple[str, ...] = ()
    says: str = ""

    @property
    def columns(self) -> dict[str, float]:
        """As for a number: none."""
        return {}


Field = Number | Place | Word | Free | Part


# ------------------------------------------------------------------ single values


def finite(value: Any, field: str) -> float:
    """A plain number within LARGEST. Raises Refusal."""
    kind = type(value)
    if kind is not float:
        if kind is not int:
            raise Refusal("bad_value", f"{field} must be a number, not {shown(value)}.", field)
        if not -LARGEST <= value <= LARGEST:
            raise _too_large(field)
        return float(value)
    if not -LARGEST <= value <= LARGEST:
        if value - value != 0:
            raise Refusal("not_finite", f"{field} must be finite.", field)
        raise _too_large(field)
    return float(value)


def _too_large(field: str) -> Refusal:
    return Refusal("bad_value", f"{field} is beyond {LARGEST:g}, where a millimetre's digits are lost.", field)


def point(value: Any, field: str, count: int) -> list[float]:
    """A list of so many plain numbers. Raises Refusal."""
    if type(value) is not list or len(value) != count:
        wanted = "[x, y]" if count == 2 else "[x, y, z]"
        raise Refusal("bad_value", f"{field} must be {wanted} in mm, not {shown(value)}.", field)
    return [n if type(n) is float and -LARGEST <= n <= LARGEST else finite(n, field) for n in value]


def identity(value: Any) -> str | float:
    """An id that the answer can repeat: text, or a number that a double holds exactly. Raises Refusal."""
    if type(value) is str:
        if not value.isascii() and any("\ud800" <= c <= "\udfff" for c in value):
            raise Refusal("bad_value", "The id holds half of a surrogate pair, which is no text.", "id")
    elif type(value) is int:
        if not -(2**63) <= value < 2**63 or int(float(value)) != value:
            raise _long_id()
    elif type(value) is not float:
        raise Refusal("bad_value", f"An id is text or a number, not {shown(value)}.", "id")
    elif not math.isfinite(value):
        raise Refusal("not_finite", "An id that is a number must be finite.", "id")
    elif abs(value) >= 2**53:  # how it was written is lost: 2^64 and its neighbours all come as this number
        raise _long_id()
    return value


def _long_id() -> Refusal:
    return Refusal("bad_value", "This id has more digits than a double keeps; give it as text.", "id")


def other_balls(value: Any) -> list[list[float]]:
    """A list of points [x, y]. Raises Refusal."""
    if type(value) is not list:
        raise Refusal("bad_value", f"others_mm is a list of [x, y], not {shown(value)}.", "others_mm")
    return [p if _is_plain(p) else point(p, f"others_mm[{i}]", 2) for i, p in enumerate(value)]


def _is_plain(p: Any) -> bool:
    """True for a point that needs no closer look, as nearly all do."""
    if type(p) is not list or len(p) != 2:
        return False
    x, y = p
    return type(x) is float and type(y) is float and -LARGEST <= x <= LARGEST and -LARGEST <= y <= LARGEST


def picture_points(value: Any) -> dict[str, list[float]]:
    """Named points [x, y, z], none with a name that the picture has itself. Raises Refusal."""
    key = "camera.points_mm"
    if type(value) is not dict:
        raise Refusal("bad_value", f'points_mm names points, {{"tip": [x, y, z]}}, not {shown(value)}.', key)
    for name in value:
        if name in PICTURE_POINTS:
            raise Refusal(
                "conflict", f"The picture has its own {name}; give this point another name.", f"{key}.{name}"
            )
    return {name: point(p, f"{key}.{name}", 3) for name, p in value.items()}


def one_of(words: Iterable[str]) -> str:
    """Words in a sentence."""
    return ", ".join(words)


def shown(value: Any) -> str:
    """A value as a message quotes it: short, and printable whatever it holds."""
    word = _WORDS.get(type(value))
    if word:
        return word(value)
    try:
        text = ascii(value)
    except ValueError:  # an integer of thousands of digits
        return "a very long number"
    return text if len(text) <= 60 else text[:57] + "..."


_WORDS: dict[type, Callable[[Any], str]] = {
    type(None): lambda _: "null",
    bool: lambda v: "true" if v else "false",
    dict: lambda _: "an object",
    list: lambda v: f"a list of {len(v)}",
}


# ------------------------------------------------------------------ the table

PICTURE_POINTS = ("cue_ball", "object_ball", "ghost_ball", "contact_object", "contact_cue", "target")
OBJECT_BALL, GHOST_BALL, POINT = 1.0, 2.0, 3.0
"""What a camera looks at."""
AIM_LINE, LINE_OF_CENTRES = 0.0, 1.0
"""What a fraction's offsets are measured by."""
NAMED_POCKET, GIVEN_POCKET = 1.0, 2.0
PLACED, SOLVED, ROLLED = 0.0, 1.0, 2.0
"""How the shot is asked for: by its cut, by three positions, by a direction."""
DEFAULT_TABLE = "9ft"
BEDS: dict[str | None, tuple[float, ...]] = {
    **{name: (table.length_mm / 2, table.width_mm / 2) for name, table in TABLES.items()},
    None: (math.inf, math.inf),
}
BELOW_90 = math.nextafter(90.0, 0.0)
ALIGNMENTS: dict[str | None, tuple[float, ...]] = {
    "aim_line": (0.0, 0.0),
    "contact_line": (0.0, 1.0),
    "cue_edge_left": (1.0, 0.0),
    "cue_edge_right": (-1.0, 0.0),
}
"""The eye's offset to the left: in ball radii, and in ball radii times the sine of the signed cut."""
NO_CUT = "{key} is {value:g} degrees; a ball is cut by 0 to less than 90."
UNDER_CLOTH = "{key} puts the eye at {value:g} mm; it must be above the cloth."

FIELDS: tuple[Field, ...] = (
    Free("id", identity, "Text or number that the answer repeats."),
    Word(
        "table", ("half_length", "half_width"), BEDS, "A table is one of",
        "A named size (9ft by default), or null for an endless cloth.", BEDS[DEFAULT_TABLE], "unknown_table",
    ),
    Number(
        "ball_diameter_mm", "57.15 by default.", SMALLEST_BALL_MM, is_alone=False, default=BALL_DIAMETER_MM,
        refusal=f"{{key}} must be at least {SMALLEST_BALL_MM:g}, not {{value:g}}.",
    ),
    Place("object_ball_mm", "Object-ball centre, X,Y."),
    Place(
        "target_mm", "Where the object ball must go: X,Y or a pocket's name.",
        others="A target is a pocket's name or",
    ),
    Part("pocket", (), "mouth_mm=N,approach_deg=N."),
    Number("pocket.mouth_mm", is_alone=False),
    Number(
        "pocket.approach_deg", least=-90.0, most=90.0,
        refusal="An angle of approach lies between -90 and 90 degrees, not at {value:g}: beyond, the ball would "
        "come out of the pocket.",
    ),
    Number(
        "cut_deg", "Cut angle; with the side and the distance it places the cue ball.",
        0.0, BELOW_90, NO_CUT, "cut_out_of_range",
    ),
    Word(
        "side", ("side",), {"left": (1.0,), "right": (-1.0,), "straight": (0.0,)}, "A side is one of",
        "left or right: where the object ball leaves the aim line.", (0.0,), "unknown_side",
    ),
    Number("distance_mm", "Distance between the balls' centres."),
    Place("cue_ball_mm", "Cue-ball centre, X,Y."),
    Number("aim_deg", "Roll the cue ball along this direction, counter-clockwise from +x."),
    Part("eye", ("back_mm", "height_mm"), "back_mm=N,height_mm=N and offset_mm=N or alignment=NAME."),
    Number(
        "eye.back_mm", least=0.0,
        refusal="The eye stands behind the cue ball: {key} is 0 or more, not {value:g}.",
    ),
    Number("eye.height_mm", least=ABOVE_0, refusal=UNDER_CLOTH),
    Number("eye.offset_mm", default=0.0),
    Word(
        "eye.alignment", ("eye.radii", "eye.sines"), ALIGNMENTS, "An alignment is one of", default=(0.0, 0.0),
    ),
    Part("camera", (), "look_at=BALL,vertical_fov_deg=N,width_px=N,height_px=N, or JSON."),
    Place("camera.eye_mm", least=(-LARGEST, -LARGEST, ABOVE_0), refusal=UNDER_CLOTH),
    Place(
        "camera.look_at", least=(-LARGEST, -LARGEST, -LARGEST), word_column="camera.look",
        words={"object_ball": OBJECT_BALL, "ghost_ball": GHOST_BALL},
        others="A camera looks at object_ball, ghost_ball or",
    ),
    Number(
        "camera.vertical_fov_deg", least=ABOVE_0, most=math.nextafter(180.0, 0.0),
        refusal="A field of view lies between 0 and 180 degrees, not at {value:g}.",
    ),
    Number("camera.width_px", least=1, is_whole=True),
    Number("camera.height_px", least=1, is_whole=True),
    Free("camera.points_mm", picture_points),
    Part("aim_error", (), "rotate_deg=N, at_ghost_mm=N or parallel_mm=N."),
    Number("aim_error.rotate_deg"),
    Number("aim_error.at_ghost_mm"),
    Number("aim_error.parallel_mm"),
    Part(
        "fraction", ("object_offset_mm", "cue_offset_mm", "measured"),
        "object_offset_mm=N,cue_offset_mm=N,measured=LINE.",
    ),
    Number("fraction.object_offset_mm"),
    Number("fraction.cue_offset_mm"),
    Word(
        "fraction.measured", ("fraction.measured",),
        {"aim_line": (AIM_LINE,), "line_of_centres": (LINE_OF_CENTRES,)}, "Offsets are measured by one of",
    ),
    Part("misses", ("left", "right"), "left=N,right=N."),
    Number("misses.left", least=0, most=MOST_MISSES, is_whole=True),
    Number("misses.right", least=0, most=MOST_MISSES, is_whole=True),
    Part("fixed_marks", (), "for_cut_deg=N."),
    Number("fixed_marks.for_cut_deg", "", 0.0, BELOW_90, NO_CUT, "cut_out_of_range"),
    Free("others_mm", other_balls, "Other balls: a JSON list of [x, y]."),
    Number(
        "speed_mps", "Cue-ball speed at impact.", ABOVE_0,
        refusal="The cue ball's speed at impact must be above 0, not {value:g}.",
    ),
    Number(
        "cue_ball_roll", "0 stun, 1 natural roll.", 0.0, 1.0,
        refusal="Roll goes from 0 (stun) to 1 (natural roll), not to {value:g}.",
    ),
)  # fmt: skip
"""In the order in which values are looked at, so that the first fault is the same whatever the keys' order."""

BY_KEY: dict[str, Field] = {field.key: field for field in FIELDS}
KEYS = tuple(key for key in BY_KEY if "." not in key)
"""The keys of a request."""
PARTS: dict[str, tuple[str, ...]] = {
    part.key: tuple(key.partition(".")[2] for key in BY_KEY if key.startswith(f"{part.key}."))
    for part in FIELDS
    if isinstance(part, Part)
}
"""The keys of its parts."""
FREE: dict[str, Free] = {key: field for key, field in BY_KEY.items() if isinstance(field, Free)}
FOUND_OUT = {
    "mode": PLACED,
    "pocket": 0.0,
    "tip_a.x": math.nan,
    "tip_a.y": math.nan,
    "tip_b.x": math.nan,
    "tip_b.y": math.nan,
}
"""Columns that `aimgeo.asking.request` fills in, with their values where nothing is asked."""
COLUMNS: dict[str, float] = {name: value for field in FIELDS for name, value in field.columns.items()} | FOUND_OUT
"""The columns of a batch by name, in mm, degrees and m/s as in the request; and what stands where not asked."""
INDEX: dict[str, int] = {name: k for k, name in enumerate(COLUMNS)}
FIRST: dict[str, int] = {field.key: INDEX[next(iter(field.columns))] for field in FIELDS if field.columns}
"""The first column of each field that has any."""
