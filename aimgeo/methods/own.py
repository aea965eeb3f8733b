"""A method of somebody's own: a program of the language with its steps, drawn and judged like every other method.

Sentence keys: <method>.<step> for each of its own steps, own.aim_line where none of them draws the aim, and at the
end what the aim really does: own.true, own.given and own.given_other [judged_miss], own.astray, own.passes.
Limits: own.missing (a point that is not there for this shot), <method>.limit, <method>.no_aim.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from aimgeo.aim_frame import AimFrame, aim_frame
from aimgeo.construct import Circle, Construction, Limit, Line, Measure, Point, Position, Quantity, Step, position
from aimgeo.construct.language import (
    KNOWN_LINES,
    KNOWN_POINTS,
    OPERATIONS,
    Program,
    aim_direction,
    aim_turn_rad,
    first_missing,
    needs_eye,
    work_out,
)
from aimgeo.judging import Outcome, outcome
from aimgeo.methods.figure import BEYOND_RADII, reach_limit, shot_values, target_line_step
from aimgeo.methods.ghost_ball import BASE_SPOT_RADII
from aimgeo.methods.method import Method, Reading
from aimgeo.shot import Shot, one_of_many, place_shot
from aimgeo.tables import Pocket
from aimgeo.vectors import Array, BoolArray, angle_rad, left, length, turned

READING = "as_written"
"""The one reading: it is done exactly as it is written."""
TRUE_MM = 0.05
"""A ball that misses by less is told to go to the target: less than a tenth of a millimetre is not shown."""
FARTHEST_MM = 10_000.0
"""Points farther from the object ball are on no table, and are told like points that do not exist."""

Eye = tuple[float, float, float]
"""Behind the cue ball's centre, to the left of the aim's plane, above the cloth: mm."""
Mouth = tuple[tuple[float, float], tuple[float, float]]
"""The two points of the target pocket, mm."""


@dataclass(frozen=True, slots=True)
class OwnMeasure:
    """What a step measures, under the name of its field: the gap of two points, or the angle of two lines."""

    field: str
    start: str
    end: str


@dataclass(frozen=True, slots=True)
class OwnStep:
    """One step: its name, and the points and lines that it shows ('aim' is the aim line)."""

    name: str
    show: tuple[str, ...]
    measures: tuple[OwnMeasure, ...] = ()


@dataclass(frozen=True, slots=True)
class Own:
    """A method of one's own: key, program, steps, and the sine of its largest cut (1: below 90 degrees).

    Plain values, so that a brief can carry it to another process.
    """

    name: str
    program: Program
    steps: tuple[OwnStep, ...]
    sin_reach: float = 1.0

    @property
    def needs_eye(self) -> bool:
        """True where something depends on what an eye sees."""
        return needs_eye(self.program)

    def method(self, eye: Eye | None = None, pocket: Pocket | None = None) -> OwnMethod:
        """The method as everything takes it; `eye` is the one that sees where something must be seen, `pocket`
        the one whose points it may use.
        """
        mouth = None if pocket is None else pocket.points_mm
        reading = Reading("It is done exactly as it is written.", partial(_turn_rad, self, mouth), self.needs_eye)
        construct = partial(_construct, self, eye, mouth)
        return OwnMethod(
            self.name, "", self.sin_reach, construct, {READING: reading}, own=self, eye=eye, mouth=mouth
        )


@dataclass(frozen=True, slots=True)
class OwnMethod(Method):
    """A method whose construction may not exist for a shot, whatever its reach."""

    own: Own = field(kw_only=True)
    eye: Eye | None = None
    mouth: Mouth | None = None

    def into(self, pocket: Pocket | None) -> OwnMethod:
        """The same for shots into a pocket, whose points it may use."""
        return self.own.method(self.eye, pocket)

    def is_usable(self, shot: Shot) -> BoolArray:
        """True within its reach, where everything that it defines exists and it gives an aim, (...)."""
        values = work_out(self.own.program, shot, _eye_mm(shot, self.eye), self.mouth)
        usable = Method.is_usable(self, shot) & np.isfinite(aim_direction(self.own.program, values)).all(axis=-1)
        for name in self.own.program.order:
            axes = tuple(range(usable.ndim, values[name].ndim))
            usable = usable & np.isfinite(values[name]).all(axis=axes)
        return usable

    def limit(self, shot: Shot) -> Limit | None:
        """Why the method cannot be used for one shot; None when it can."""
        reason = reach_limit(shot, self.name, self.sin_reach)
        if reason is not None:
            return reason
        values = work_out(self.own.program, shot, _eye_mm(shot, self.eye), self.mouth)
        missing = first_missing(self.own.program, values) or _far(self.own, values, shot)
        if not missing and not np.isfinite(aim_direction(self.own.program, values)).all():
            missing = "aim"
        if not missing:
            return None
        return Limit("own.missing", (("method", Quantity(self.name, "name")), ("what", Quantity(missing, "name"))))


def role_of(own: Own, name: str) -> str:
    """The role under which a point or line of one's own is drawn and named."""
    return f"own_{own.name}_{name}"


def measure_key(own: Own, measure: OwnMeasure) -> str:
    """The key of a measure of one's own."""
    return f"own_{own.name}_{measure.field}"


def given(own: Own, frame: AimFrame, eye: Array | None = None, mouth: Mouth | None = None) -> Outcome:
    """What comes of the method's aim when it is done exactly, (N,); eye (N, 3): in the aim frame."""
    return outcome(frame, _turn_rad(own, mouth, frame, eye))


# ------------------------------------------------------------------ one shot


def _construct(own: Own, eye: Eye | None, mouth: Mouth | None, shot: Shot) -> Construction:
    values = work_out(own.program, shot, _eye_mm(shot, eye), mouth)
    way = aim_direction(own.program, values)
    C, O, R = shot.cue_ball_mm, shot.object_ball_mm, float(shot.radius_mm)
    ahead = max(float((O - C)[:2] @ way), 0.0) + BEYOND_RADII * R
    aim = Line("aim_line", position(C), position(C + ahead * np.array([*way, 0.0])))
    end = own.program.aim.end
    at = values[end] if end else np.asarray(aim.end_mm)
    measured = {m.field: _measured(values, m, 2 * R) for step in own.steps for m in step.measures}
    told = (*shot_values(shot), *((name, quantity) for name, (quantity, _) in measured.items()))
    steps = [_step(own, one, values, shot, aim, measured, told) for one in own.steps]
    if all("target_line" not in one.show for one in own.steps):
        steps.insert(0, replace(target_line_step(shot, "own"), values=told))
    if all("aim" not in one.show for one in own.steps):
        points = (Point("aim_point", position(at)),) if end in own.program.definitions else ()
        steps.append(Step("aim line", "own.aim_line", told, points=points, lines=(aim,)))
    steps.append(_what_it_gives(shot, way, told))
    return Construction(own.name, tuple(steps), (float(way[0]), float(way[1])), position(at), aim)


def _step(
    own: Own,
    one: OwnStep,
    values: dict[str, Array],
    shot: Shot,
    aim: Line,
    measured: dict[str, tuple[Quantity, tuple[Position, Position] | None]],
    told: tuple[tuple[str, Quantity], ...],
) -> Step:
    points: list[Point] = []
    lines: list[Line] = []
    circles: list[Circle] = []
    measures: list[Measure] = []
    for name in one.show:
        if name == "aim":
            lines.append(aim)
        elif name in KNOWN_LINES:
            start, end = values[name]
            lines.append(Line(LINE_ROLES[name], position(start), position(end)))
            if name == "target_line":
                measures.append(Measure("cut", Quantity(abs(float(shot.cut_rad)), "angle_rad")))
        elif name == "ghost_centre":
            points.append(Point("ghost_centre", position(values[name])))
            circles.append(Circle("ghost_ball", position(values[name]), float(shot.radius_mm)))
        elif name == "base_spot":
            circles.append(Circle("base_spot", position(values[name]), BASE_SPOT_RADII * float(shot.radius_mm)))
        elif name in KNOWN_POINTS:
            points.append(Point(name, position(values[name])))
        elif OPERATIONS[own.program.definitions[name].operation].gives == "point":
            points.append(Point(role_of(own, name), position(values[name])))
        else:
            start, end = values[name]
            if float(length((end - start)[:2])) > 1e-6:
                lines.append(Line(role_of(own, name), position(start), position(end)))
    measures += [Measure(measure_key(own, m), *measured[m.field]) for m in one.measures]
    return Step(
        one.name, f"{own.name}.{one.name}", told, tuple(points), tuple(lines), tuple(circles), tuple(measures)
    )


LONGEST_BAR_BALLS = 3
"""A longer gap has its number alone: its bar would hide what lies along it."""
LINE_ROLES = {"target_line": "target_line", "centre_line": "line_of_centres", "true_aim": "true_aim"}
"""Known lines and the roles under which they are drawn."""


def _measured(
    values: dict[str, Array], measure: OwnMeasure, ball_mm: float
) -> tuple[Quantity, tuple[Position, Position] | None]:
    a, b = values[measure.start], values[measure.end]
    if a.ndim == 2:
        between = abs(float(angle_rad(a[1, :2] - a[0, :2], b[1, :2] - b[0, :2])))
        return Quantity(min(between, np.pi - between), "angle_rad"), None
    gap = float(length((b - a)[:2]))
    is_bar = 1e-6 < gap <= LONGEST_BAR_BALLS * ball_mm
    return Quantity(gap, "length_mm"), (position(a), position(b)) if is_bar else None


LEAST_RAD = np.radians(0.05)
"""A smaller cut is to no side, as it is told."""


def _what_it_gives(shot: Shot, way: Array, told: tuple[tuple[str, Quantity], ...]) -> Step:
    """The last step: the cut that the aim really makes, and how far the object ball passes the target."""
    found = outcome(aim_frame(one_of_many(shot)), np.array([float(angle_rad(shot.aim_direction, way))]))
    name = "what it gives"
    if not found.hit[0]:
        return Step(name, "own.passes", told)
    made = float(found.cut_rad[0])
    is_other = made * float(shot.cut_rad) < 0 and abs(made) >= LEAST_RAD
    cut = Quantity(abs(made), "angle_rad")
    miss = float(found.miss_mm[0])
    error = Quantity(abs(float(found.object_error_rad[0])), "angle_rad")
    told = (*told, ("given_cut", cut), ("off", error), ("miss", Quantity(abs(miss), "distance_mm")))
    if abs(miss) < TRUE_MM:
        return Step(name, "own.true", told)
    goes = turned(shot.object_direction, float(found.object_error_rad[0]))
    far = float(length((shot.target_mm - shot.object_ball_mm)[:2]))
    path = Line(
        "given_path",
        position(shot.object_ball_mm),
        position(shot.object_ball_mm + far * np.array([*goes, 0.0])),
    )
    measures: tuple[Measure, ...] = (Measure("given_off", error),)
    if not np.isfinite(miss):
        return Step(name, "own.astray", told, lines=(path,), measures=measures)
    measures = (*measures, Measure("judged_miss", Quantity(abs(miss), "length_mm")))
    return Step(name, "own.given_other" if is_other else "own.given", told, lines=(path,), measures=measures)


def _far(own: Own, values: dict[str, Array], shot: Shot) -> str:
    """The first shown point or line end that is on no table; empty when there is none."""
    O = shot.object_ball_mm
    shown = (name for step in own.steps for name in step.show if name in own.program.definitions)
    return next((name for name in shown if np.abs(values[name] - O).max() > FARTHEST_MM), "")


def _eye_mm(shot: Shot, eye: Eye | None) -> Array | None:
    if eye is None:
        return None
    back, aside, high = eye
    a = shot.aim_direction
    flat = shot.cue_ball_mm[..., :2] - back * a + aside * left(a)
    return np.concatenate([flat, np.full((*flat.shape[:-1], 1), high)], axis=-1)


# ------------------------------------------------------------------ many shots


def _turn_rad(
    own: Own, mouth: Mouth | None, frame: AimFrame, eye: Array | None, mark_cut_rad: Array | None = None
) -> Array:
    """How far the aim is turned left of the true one, (N,); nan beyond its reach and where it gives none."""
    way = turned(frame.aim_direction, frame.cut_rad)
    target = frame.object_ball_mm + frame.target_distance_mm[:, None] * way
    shot = place_shot(frame.object_ball_mm, target, frame.cut_rad, frame.distance_mm, frame.diameter_mm)
    at = None if eye is None else frame.to_table(eye)
    turn = aim_turn_rad(own.program, shot, at, mouth)
    return np.where(np.abs(frame.sin_cut) <= own.sin_reach + 1e-9, turn, np.nan)
