"""The language of constructions: named points and lines made from known ones, and the aim that they give.

A method of somebody's own is a `Program`: definitions, each one operation on names, and at the end the aim, from a
point to a point or along a line. There are no loops and no conditions; every name is worked out once, after those
that it needs. One shot and a million take the same path. Where a point does not exist (lines that run alongside
each other, a line that passes a ball) the answer is nan, and `first_missing` tells which name it was.

`OPERATIONS` is the whole language: to add an operation, add its line there; reading, help and docs follow.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from aimgeo import side as sides
from aimgeo.shot import Shot
from aimgeo.vectors import Array, ArrayLike, angle_rad, cross, dot, left, length, turned, unit

Kind = Literal[
    "point", "line", "figure", "two_points", "two_lines", "ball", "length", "number", "angle", "side", "which"
]
"""What an operation takes. A figure is a point or a line."""

SIDES = ("left", "right", "outward", "inward")
"""Left and right of a line's direction; outward is the side on which the aim passes the object ball's centre."""
WHICH = ("nearer", "farther")
BALLS = ("cue_ball", "object_ball", "ghost_ball")
KNOWN_POINTS = {
    "cue_centre": "the cue ball's centre",
    "object_centre": "the object ball's centre",
    "ghost_centre": "the centre of the cue ball at impact",
    "target": "where the object ball must go",
    "contact_object": "the contact point on the object ball",
    "contact_cue": "the contact point on the cue ball, where it lies now",
    "base_spot": "the spot of the cloth under the ghost ball",
    "pocket_left": "the target pocket's point on the left, as the object ball comes",
    "pocket_right": "the one on the right",
}
POCKET_POINTS = ("pocket_left", "pocket_right")
"""Known points that a shot into a pocket has; they are nowhere where the target is none."""
KNOWN_LINES = {
    "target_line": "from the object ball's centre to the target",
    "centre_line": "from the cue ball's centre to the object ball's",
    "true_aim": "from the cue ball's centre to the ghost ball's",
}
MOST_DEFINITIONS = 64
PARALLEL_SINE = 1e-12
"""Lines whose directions differ by less do not meet."""


@dataclass(frozen=True, slots=True)
class Length:
    """A length: millimetres, and widths of the ball."""

    mm: float = 0.0
    balls: float = 0.0


Argument = str | float | Length | tuple[str, str]


@dataclass(frozen=True, slots=True)
class Definition:
    """One operation, by its name in `OPERATIONS`, and what it takes by parameter."""

    operation: str
    arguments: Mapping[str, Argument]


@dataclass(frozen=True, slots=True)
class Aim:
    """Which way the cue ball is sent: from a point to a point, or along a line; through its centre always."""

    start: str = ""
    end: str = ""
    along: str = ""


@dataclass(frozen=True, slots=True)
class Program:
    """Definitions by name, and the aim. `order` puts every name after those that it needs."""

    definitions: Mapping[str, Definition]
    aim: Aim
    order: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Flaw:
    """What is wrong with a program: a code, the definition (or 'aim') and the name or parameter in it.

    unknown: `what` is no known name; not_a_point, not_a_line: `what` is something else; circle: `names` need each
    other; own_aim: a definition asks for the aim; too_many: more than `MOST_DEFINITIONS`.
    """

    code: Literal["unknown", "not_a_point", "not_a_line", "circle", "own_aim", "too_many"]
    at: str
    what: str = ""
    names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Operation:
    """One operation: what it gives, what it takes by parameter, what it does in one line, and how."""

    gives: Literal["point", "line"]
    takes: Mapping[str, Kind]
    says: str
    compute: Callable[..., Array]
    needs_eye: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """Shots with what is known of them, and an eye (..., 3) in table millimetres, nan for none."""

    shot: Shot
    eye_mm: Array
    values: dict[str, Array] = field(default_factory=dict)

    @property
    def radius_mm(self) -> Array:
        """The balls' radius."""
        return self.shot.radius_mm

    def centre(self, ball: str) -> Array:
        """A ball's centre, (..., 3)."""
        return {
            "cue_ball": self.shot.cue_ball_mm,
            "object_ball": self.shot.object_ball_mm,
            "ghost_ball": self.shot.ghost_ball_mm,
        }[ball]

    def mm(self, size: Length) -> Array:
        """A length in millimetres, (...)."""
        return size.mm + size.balls * np.asarray(self.shot.ball_diameter_mm, float)

    def sign(self, side: str) -> Array:
        """+1 for the left, -1 for the right, (...). A straight shot counts the right as outward."""
        if side in ("left", "right"):
            return np.full(np.shape(self.shot.cut_rad), float(sides.SIDES[side]))
        outward = self.shot.outward.astype(float)
        return outward if side == "outward" else -outward


# ------------------------------------------------------------------ operations
# points are (..., 3), lines (..., 2, 3): start and end; directions are those of the plane


def _way(line: Array) -> Array:
    return unit(line[..., 1, :2] - line[..., 0, :2])


def _moved(p: Array, step: Array) -> Array:
    return np.concatenate([p[..., :2] + step, p[..., 2:]], axis=-1)


def _line(start: Array, end: Array) -> Array:
    return np.stack(np.broadcast_arrays(start, end), axis=-2)


def _from(start: Array, way: Array, size: Array) -> Array:
    return _line(start, _moved(start, way * size[..., None]))


def _size(line: Array) -> Array:
    return length(line[..., 1, :2] - line[..., 0, :2])


def _foot(p: Array, line: Array) -> Array:
    a, way = line[..., 0, :], _way(line)
    return np.concatenate([a[..., :2] + dot(p[..., :2] - a[..., :2], way)[..., None] * way, p[..., 2:]], axis=-1)


def _mirrored(sheet: Sheet, p: Array, about: Array) -> Array:
    middle = _foot(p, about) if about.ndim > p.ndim else about
    return np.concatenate([2 * middle[..., :2] - p[..., :2], p[..., 2:]], axis=-1)


def _meet(sheet: Sheet, lines: tuple[Array, Array]) -> Array:
    first, second = lines
    u, v = _way(first), _way(second)
    sine = cross(u, v)
    with np.errstate(divide="ignore", invalid="ignore"):
        t = cross(second[..., 0, :2] - first[..., 0, :2], v) / np.where(np.abs(sine) > PARALLEL_SINE, sine, np.nan)
    return _moved(first[..., 0, :], t[..., None] * u)


def _meets_ball(sheet: Sheet, line: Array, ball: str, which: str) -> Array:
    centre, R = sheet.centre(ball), sheet.radius_mm
    foot = _foot(centre, line)
    aside = length(centre[..., :2] - foot[..., :2])
    with np.errstate(invalid="ignore"):
        half = np.sqrt(np.where(aside <= R, (R - aside) * (R + aside), np.nan))
    return _moved(foot, (half if which == "farther" else -half)[..., None] * _way(line))


def _mark(sheet: Sheet, ball: str, offset: Length, side: str, along: Array) -> Array:
    R, size, way = sheet.radius_mm, sheet.mm(offset), _way(along)
    with np.errstate(invalid="ignore"):
        ahead = np.sqrt(np.where(np.abs(size) <= R * (1 + 1e-9), np.maximum((R - size) * (R + size), 0.0), np.nan))
    step = (sheet.sign(side) * size)[..., None] * left(way) - ahead[..., None] * way
    return _moved(sheet.centre(ball), step)


def _tangent(sheet: Sheet, ball: str, start: Array, side: str) -> Array:
    centre, R = sheet.centre(ball), sheet.radius_mm
    to = centre[..., :2] - start[..., :2]
    far = length(to)
    with np.errstate(invalid="ignore"):
        reach = np.sqrt(np.where(far > R, (far - R) * (far + R), np.nan))
        turn = np.arctan2(R, reach) * sheet.sign(side)
    return _from(start, turned(unit(to), turn), reach)


def _seen_scaled(sheet: Sheet, p: Array, about: Array, times: float) -> Array:
    """The point whose picture lies `times` as far from the picture of `about`, carried back to the height of p."""
    eye = sheet.eye_mm
    forward = about - eye
    forward = forward / np.sqrt(dot(forward, forward))[..., None]
    v = p - eye
    depth = dot(v, forward)
    picture = v / np.where(depth > 0, depth, np.nan)[..., None]
    ray = forward + times * (picture - forward)
    return _at_height(eye, ray, p[..., 2])


def _on_disc(sheet: Sheet, ball: str, place: float, side: str) -> Array:
    """The point of a ball that the eye sees so far from the middle of its disc to a side, in half-widths.

    The level line through the disc's middle: in the plane of the sight line and the level direction square to it
    a place p is seen at the angle atan(p tan(b)) from the middle, with sin(b) = R over the eye's distance.
    """
    eye, centre, R = sheet.eye_mm, sheet.centre(ball), sheet.radius_mm
    to = centre - eye
    far = np.sqrt(dot(to, to))
    level = np.concatenate([left(unit(to[..., :2])), np.zeros((*to.shape[:-1], 1))], axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        edge = R / np.sqrt((far - R) * (far + R))
        aside = sheet.sign(side) * place * edge if abs(place) <= 1 else np.full(np.shape(far), np.nan)
        ray = to / far[..., None] + aside[..., None] * level
        ray = ray / np.sqrt(1 + aside * aside)[..., None]
        along = dot(ray, to)
        depth = np.sqrt(np.maximum(R * R - (far * far - along * along), 0.0))
    return np.asarray(eye + (along - depth)[..., None] * ray)


def _sighted(sheet: Sheet, p: Array, height: Array) -> Array:
    return _at_height(sheet.eye_mm, p - sheet.eye_mm, height)


def _at_height(eye: Array, ray: Array, z: Array) -> Array:
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (z - eye[..., 2]) / ray[..., 2]
        t = np.where(t > 0, t, np.nan)
    found = eye + t[..., None] * ray
    return np.concatenate([found[..., :2], np.where(np.isnan(t), np.nan, z)[..., None]], axis=-1)


def _toward(sheet: Sheet, start: Array, toward: Array, by: Length) -> Array:
    return _moved(start, sheet.mm(by)[..., None] * unit(toward[..., :2] - start[..., :2]))


def _beside(sheet: Sheet, line: Array, by: Length, side: str) -> Array:
    step = (sheet.sign(side) * sheet.mm(by))[..., None] * left(_way(line))
    return _line(_moved(line[..., 0, :], step), _moved(line[..., 1, :], step))


def _turned(sheet: Sheet, line: Array, by: float, side: str, about: Array) -> Array:
    turn = by * sheet.sign(side)

    def moved(p: Array) -> Array:
        return _moved(about, turned(p[..., :2] - about[..., :2], turn))

    return _line(moved(line[..., 0, :]), moved(line[..., 1, :]))


OPERATIONS: dict[str, Operation] = {
    "halfway": Operation(
        "point", {"halfway": "two_points"}, "halfway between two points", lambda s, ends: (ends[0] + ends[1]) / 2
    ),
    "from by": Operation(
        "point",
        {"from": "point", "toward": "point", "by": "length"},
        "so far from a point, toward another",
        _toward,
    ),
    "from part": Operation(
        "point",
        {"from": "point", "toward": "point", "part": "number"},
        "a part of the way from a point to another; 2 is twice as far",
        lambda s, a, b, part: a + part * (b - a),
    ),
    "along by": Operation(
        "point",
        {"on": "line", "by": "length"},
        "so far along a line from where it starts",
        lambda s, line, by: _moved(line[..., 0, :], s.mm(by)[..., None] * _way(line)),
    ),
    "along part": Operation(
        "point",
        {"on": "line", "part": "number"},
        "a part of the way along a line; 1 is its end",
        lambda s, line, part: line[..., 0, :] + part * (line[..., 1, :] - line[..., 0, :]),
    ),
    "mirrored": Operation(
        "point", {"mirrored": "point", "in": "figure"}, "mirrored in a point or a line", _mirrored
    ),
    "edge": Operation(
        "point",
        {"edge": "ball", "side": "side", "along": "line"},
        "a ball's edge, square to a line",
        lambda s, ball, side, along: _moved(
            s.centre(ball), (s.sign(side) * s.radius_mm)[..., None] * left(_way(along))
        ),
    ),
    "mark": Operation(
        "point",
        {"mark": "ball", "offset": "length", "side": "side", "along": "line"},
        "the point of a ball's front, seen along a line, so far beside its middle",
        _mark,
    ),
    "foot": Operation(
        "point",
        {"foot": "point", "on": "line"},
        "where the perpendicular from a point meets a line",
        lambda s, p, line: _foot(p, line),
    ),
    "meet": Operation("point", {"meet": "two_lines"}, "where two lines meet", _meet),
    "meet ball": Operation(
        "point",
        {"line": "line", "ball": "ball", "which": "which"},
        "where a line meets a ball: nearer or farther along it",
        _meets_ball,
    ),
    "below": Operation(
        "point",
        {"below": "point"},
        "the spot of the cloth under a point",
        lambda s, p: np.concatenate([p[..., :2], np.zeros_like(p[..., 2:])], axis=-1),
    ),
    "seen": Operation(
        "point",
        {"seen": "point", "about": "point", "times": "number"},
        "as far from the picture of a point, as the eye sees it, as another times a number",
        _seen_scaled,
        needs_eye=True,
    ),
    "disc": Operation(
        "point",
        {"disc": "ball", "place": "number", "side": "side"},
        "the point of a ball that the eye sees so far from the middle of its disc; 1 is the rim",
        _on_disc,
        needs_eye=True,
    ),
    "sighted": Operation(
        "point",
        {"sighted": "point"},
        "where the sight line through a point is as high as the balls' centres",
        lambda s, p: _sighted(s, p, s.radius_mm),
        needs_eye=True,
    ),
    "through": Operation(
        "line", {"through": "two_points"}, "through two points", lambda s, ends: _line(ends[0], ends[1])
    ),
    "parallel through": Operation(
        "line",
        {"parallel": "line", "through": "point"},
        "the parallel to a line through a point",
        lambda s, line, p: _from(p, _way(line), _size(line)),
    ),
    "parallel beside": Operation(
        "line",
        {"parallel": "line", "by": "length", "side": "side"},
        "the parallel to a line, so far beside it",
        _beside,
    ),
    "turned": Operation(
        "line",
        {"turned": "line", "by": "angle", "side": "side", "about": "point"},
        "a line turned about a point",
        _turned,
    ),
    "tangent": Operation(
        "line",
        {"tangent": "ball", "from": "point", "side": "side"},
        "from a point along a ball's side",
        _tangent,
    ),
}


# ------------------------------------------------------------------ checking and working out


def needed(definition: Definition) -> tuple[tuple[str, str, Kind], ...]:
    """The names that a definition asks for: parameter, name, and what it must be."""
    found: list[tuple[str, str, Kind]] = []
    for parameter, kind in OPERATIONS[definition.operation].takes.items():
        value = definition.arguments[parameter]
        if kind in ("point", "line", "figure"):
            found.append((parameter, str(value), kind))
        elif isinstance(value, tuple):
            found += [(parameter, name, "point" if kind == "two_points" else "line") for name in value]
    return tuple(found)


def checked(definitions: Mapping[str, Definition], aim: Aim) -> Program | list[Flaw]:
    """The program with its order, or all its flaws."""
    if len(definitions) > MOST_DEFINITIONS:
        return [Flaw("too_many", "aim")]
    kinds: dict[str, str] = dict.fromkeys(KNOWN_POINTS, "point") | dict.fromkeys(KNOWN_LINES, "line")
    kinds |= {name: OPERATIONS[d.operation].gives for name, d in definitions.items()}
    asked = [(at, what, kind) for at, d in definitions.items() for _, what, kind in needed(d)]
    asked += [("aim", what, "point") for what in (aim.start, aim.end) if what]
    asked += [("aim", aim.along, "line")] if aim.along else []
    flaws: list[Flaw] = []
    for at, what, kind in asked:
        if what == "aim" and at != "aim":
            flaws.append(Flaw("own_aim", at, what))
        elif what not in kinds:
            flaws.append(Flaw("unknown", at, what))
        elif kind != "figure" and kinds[what] != kind:
            flaws.append(Flaw("not_a_point" if kind == "point" else "not_a_line", at, what))
    order: list[str] = []
    waiting = {name: {n for _, n, _ in needed(d) if n in definitions} for name, d in definitions.items()}
    while waiting:
        ready = [name for name, needs in waiting.items() if not needs & waiting.keys()]
        if not ready:
            circle = _circle(waiting)
            return [*flaws, Flaw("circle", circle[0], names=circle)]
        order += ready
        for name in ready:
            del waiting[name]
    return flaws or Program(dict(definitions), aim, tuple(order))


def _circle(waiting: Mapping[str, set[str]]) -> tuple[str, ...]:
    """Names that need each other, in order."""
    path = [next(iter(waiting))]
    while True:
        following = next(n for n in waiting[path[-1]] if n in waiting)
        if following in path:
            return tuple(path[path.index(following) :])
        path.append(following)


def work_out(
    program: Program, shot: Shot, eye_mm: ArrayLike | None = None, mouth_mm: ArrayLike | None = None
) -> dict[str, Array]:
    """Every known and defined point (..., 3) and line (..., 2, 3) of the shots, by name; nan where there is none.

    eye: (..., 3) table millimetres; without one, what the eye sees is nan. mouth: the target pocket's two points
    (2, 2), in any order; without them they are nan.
    """
    shape = shot.cue_ball_mm.shape
    eye = np.full(shape, np.nan) if eye_mm is None else np.broadcast_to(np.asarray(eye_mm, float), shape)
    C, O, G, T = shot.cue_ball_mm, shot.object_ball_mm, shot.ghost_ball_mm, shot.target_mm
    values: dict[str, Array] = {
        "cue_centre": C,
        "object_centre": O,
        "ghost_centre": G,
        "target": T,
        "contact_object": shot.contact_object_mm,
        "contact_cue": shot.contact_cue_mm,
        "base_spot": np.concatenate([G[..., :2], np.zeros_like(G[..., 2:])], axis=-1),
        "target_line": _line(O, T),
        "centre_line": _line(C, O),
        "true_aim": _line(C, G),
    }
    values |= dict(zip(POCKET_POINTS, _pocket_points(shot, mouth_mm), strict=True))
    sheet = Sheet(shot, eye, values)
    for name in program.order:
        definition = program.definitions[name]
        operation = OPERATIONS[definition.operation]
        arguments: list[object] = []
        for parameter, kind in operation.takes.items():
            value = definition.arguments[parameter]
            if isinstance(value, tuple):
                arguments.append(tuple(values[n] for n in value))
            elif kind in ("point", "line", "figure"):
                arguments.append(values[str(value)])
            else:
                arguments.append(value)
        values[name] = operation.compute(sheet, *arguments)
    return values


def _pocket_points(shot: Shot, mouth_mm: ArrayLike | None) -> tuple[Array, Array]:
    """The pocket's points at the balls' height, the left one first as the object ball comes, (..., 3)."""
    O, T = shot.object_ball_mm, shot.target_mm
    if mouth_mm is None:
        return np.full(O.shape, np.nan), np.full(O.shape, np.nan)
    one, other = (
        np.concatenate([np.broadcast_to(p, O[..., :2].shape), O[..., 2:]], axis=-1)
        for p in np.asarray(mouth_mm, float)
    )
    way = T[..., :2] - O[..., :2]
    is_left = (cross(way, one[..., :2] - other[..., :2]) > 0)[..., None]
    return np.where(is_left, one, other), np.where(is_left, other, one)


def aim_direction(program: Program, values: Mapping[str, Array]) -> Array:
    """The direction (..., 2) in which the program sends the cue ball; nan where it gives none."""
    if program.aim.along:
        return _way(values[program.aim.along])
    return unit(values[program.aim.end][..., :2] - values[program.aim.start][..., :2])


def aim_turn_rad(
    program: Program, shot: Shot, eye_mm: ArrayLike | None = None, mouth_mm: ArrayLike | None = None
) -> Array:
    """How far the program's aim is turned to the left of the true one, (...); nan where it gives none."""
    return angle_rad(shot.aim_direction, aim_direction(program, work_out(program, shot, eye_mm, mouth_mm)))


def first_missing(program: Program, values: Mapping[str, Array]) -> str:
    """The first defined name that does not exist for one shot; empty when all do."""
    return next((name for name in program.order if not np.isfinite(values[name]).all()), "")


def needs_eye(program: Program) -> bool:
    """True where something depends on what an eye sees."""
    return any(OPERATIONS[d.operation].needs_eye for d in program.definitions.values())
