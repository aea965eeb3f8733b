"""What a match answers: the shot as filmed with its errors, `NAME.match.json`, and the lines for the table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import degrees
from pathlib import Path
from typing import Any

import numpy as np
import orjson

from aimgeo.camera import project
from aimgeo.landmarks import MEASURES
from aimgeo.shot import Shot, place_shot
from aimgeo.vectors import Array
from lessons.footage.matched import Match, MatchedBall, Warned
from lessons.footage.model import MatchFile
from lessons.planning.filmed import digest_of

SCHEMA = 1
EXCHANGED_MM = 60.0
"""Balls that lie this near to the plan once head and foot are exchanged, and farther than twice that before."""


@dataclass(frozen=True, slots=True, eq=False)
class FilmedShot:
    """The shot as filmed: signed cut (left positive) and distance with half-widths of 95 %; solve's answer."""

    cut_deg: float
    cut_error_deg: float
    distance_mm: float
    distance_error_mm: float
    solved: Mapping[str, Any]

    @property
    def side(self) -> str:
        """left, right or straight."""
        return str(self.solved.get("side") or ("left" if self.cut_deg > 0 else "right"))


@dataclass(frozen=True, slots=True, eq=False)
class Planned:
    """The shot that should have been set up. Without `places` only its cut and distance are known."""

    cut_deg: float
    distance_mm: float
    places_mm: tuple[Array, Array] | None = None
    shot: Shot | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """All that one match file answers."""

    file: MatchFile
    match: Match
    frame: int
    rate: tuple[int, int] | None
    shot: FilmedShot | None
    plan: Planned | None
    warnings: tuple[Warned, ...]
    holds_from_frame: int = 0
    holds_to_frame: int | None = None
    fades_from_frame: int | None = None
    frames: int = 1
    timecode: str | None = None


def target_mm(match: Match, pocket: str) -> Array:
    """The middle (2,) of a pocket's mouth on the table as solved."""
    return middle_of_pocket(match.solved.problem.measures_mm(match.solved.x), pocket)


def middle_of_pocket(measures_mm: Array, pocket: str) -> Array:
    """The middle (..., 2) of a pocket's mouth for measures (..., M)."""
    m = {name: measures_mm[..., k] for k, name in enumerate(MEASURES)}
    end, side = pocket.split("-")
    sy = 1.0 if side == "left" else -1.0
    if end == "side":
        return np.stack([np.zeros_like(m["width"]), sy * m["width"] / 2], -1)
    sx = 1.0 if end == "foot" else -1.0
    in_mm = m["corner_mouth"] / np.sqrt(2) / 2
    return np.stack([sx * (m["length"] / 2 - in_mm), sy * (m["width"] / 2 - in_mm)], -1)


def filmed_shot(match: Match, pocket: str) -> tuple[FilmedShot | None, tuple[Warned, ...]]:
    """The shot between the cue ball and the object ball that were found, and what is wrong with it."""
    cue, obj = match.ball("cue"), match.ball("object")
    if cue is None or obj is None:
        return None, ()
    problem, x = match.solved.problem, match.solved.x
    index = {(b.role, b.index): k for k, b in enumerate(match.balls)}
    d = match.clicks.ball_diameter_mm

    def told(x: Array) -> Array:
        if problem.rims:
            C = problem.ball_mm(x, index["cue", 0])[..., :2]
            O = problem.ball_mm(x, index["object", 0])[..., :2]
        else:
            C, O = cue.centre_mm[:2], obj.centre_mm[:2]
        way = middle_of_pocket(problem.measures_mm(x), pocket) - O
        u = way / np.linalg.norm(way, axis=-1, keepdims=True)
        aim = O - d * u - C
        cut = np.arctan2(aim[..., 0] * u[..., 1] - aim[..., 1] * u[..., 0], np.sum(aim * u, -1))
        return np.stack([np.degrees(cut), np.linalg.norm(O - C, axis=-1)], -1)

    cut, distance = (float(v) for v in told(x))
    errors = match.solved.error(told)
    if not problem.rims:
        apart = np.hypot(cue.error_mm.max(), obj.error_mm.max())
        errors = np.hypot(errors, [degrees(apart / max(distance, 1.0)), apart])
    from lessons.answering.answer import answer_blocks

    request = {
        "object_ball_mm": obj.centre_mm[:2].tolist(),
        "cue_ball_mm": cue.centre_mm[:2].tolist(),
        "target_mm": target_mm(match, pocket).tolist(),
        "table": match.clicks.table.name,
        "ball_diameter_mm": d,
    }
    written, _ = answer_blocks([request])
    answer = orjson.loads(b"".join(written))
    if "error" in answer:
        reason = answer["error"]["message"]
        reason = f"{reason[:1].lower()}{reason[1:]}"
        if abs(cut) >= 90:
            reason = (
                f"it would need a cut of {abs(cut):.0f} degrees, and a ball can be cut by less than 90. "
                "Is `target` another pocket, or are head and foot exchanged in the points' names?"
            )
        sentence = f"no shot at {pocket} from here: {reason}"
        return None, (Warned(sentence, ("target",)),)
    return FilmedShot(cut, float(errors[0]), distance, float(errors[1]), answer["shot"]), ()


def planned(file: MatchFile) -> Planned | None:
    """The plan that the match file names. Raises LessonError where it can't be used."""
    keys = file.keys.plan
    if keys is None:
        return None
    if keys.lesson is not None:
        return _of_clip(file, keys.lesson, str(keys.clip))
    assert keys.cut is not None
    assert keys.distance is not None
    table = file.table
    sign = -1.0 if keys.side == "right" else 1.0
    cut = sign * keys.cut.cut_rad
    distance = keys.distance.mm(file.ball_mm, table.length_mm)
    if distance < file.ball_mm:
        told = f"centres can't be {distance:.4g} mm apart: balls touch at {file.ball_mm:.4g}. Check the distance."
        raise file.fault(told, ("plan", "distance"))
    if keys.object is None:
        return Planned(degrees(cut), distance)
    spot = [length.mm(file.ball_mm, table.length_mm) for length in keys.object]
    _check_on_bed(file, spot, "the object ball", ("plan", "object"))
    shot = place_shot(spot, table.pocket(file.keys.target).centre_mm, cut, distance, file.ball_mm)
    if not np.isfinite(shot.cue_ball_mm).all():
        raise file.fault("this plan gives no shot; check its cut and distance.", ("plan",))
    _check_on_bed(file, shot.cue_ball_mm.tolist(), "the cue ball", ("plan", "distance"))
    return Planned(degrees(cut), distance, (shot.cue_ball_mm[:2], shot.object_ball_mm[:2]), shot)


def _check_on_bed(file: MatchFile, place_mm: Sequence[float], ball: str, at: tuple[str | int, ...]) -> None:
    """Raise LessonError for a planned ball that lies in a cushion or off the table."""
    table, R = file.table, file.ball_mm / 2
    over = max(abs(place_mm[0]) - table.length_mm / 2, abs(place_mm[1]) - table.width_mm / 2) + R
    if over > 1.0:
        raise file.fault(
            f"by this plan {ball} would lie {over:.0f} mm beyond where the cushions let it; check the plan, "
            "`target` and `table`.",
            at,
        )


def _of_clip(file: MatchFile, lesson: str, clip: str) -> Planned:
    from lessons.lesson.faults import did_you_mean
    from lessons.lesson.model import load
    from lessons.planning.plan import plan

    path = file.path.parent / lesson
    if not path.is_file():
        raise file.fault(f"there is no lesson '{lesson}' beside this file; check the name.", ("plan", "lesson"))
    made = plan(load(path))
    found = next((one for one in made.clips if one.name == clip), None)
    if found is None:
        names = [one.name for one in made.clips]
        raise file.fault(f"'{lesson}' makes no clip '{clip}'{did_you_mean(clip, names)}"[:300], ("plan", "clip"))
    shot = found.brief.subject.shot
    if shot is None:
        raise file.fault(f"clip '{clip}' shows no single shot; name another.", ("plan", "clip"))
    return Planned(
        degrees(float(shot.cut_rad)),
        float(shot.distance_mm),
        (shot.cue_ball_mm[:2], shot.object_ball_mm[:2]),
        shot,
    )


def exchanged(match: Match, plan: Planned | None) -> tuple[Warned, ...]:
    """A warning where the balls lie as planned once head and foot are exchanged."""
    cue, obj = match.ball("cue"), match.ball("object")
    if plan is None or plan.places_mm is None or cue is None or obj is None:
        return ()
    pairs = list(zip((cue, obj), plan.places_mm, strict=True))
    turned = max(float(np.hypot(*(-b.centre_mm[:2] - p))) for b, p in pairs)
    straight = max(float(np.hypot(*(b.centre_mm[:2] - p))) for b, p in pairs)
    if turned < EXCHANGED_MM and straight > 2 * EXCHANGED_MM:
        return (
            Warned(
                "the balls lie where the plan has them if head and foot are exchanged; check the points' names.",
                ("points",),
            ),
        )
    return ()


# ------------------------------------------------------------------ written


def told(answer: Answer) -> dict[str, Any]:
    """`NAME.match.json` as plain values."""
    match, file = answer.match, answer.file
    camera = match.camera
    lens = camera.lens
    assert lens is not None
    balls: dict[str, Any] = {}
    for role in ("cue", "object"):
        if (ball := match.ball(role)) is not None:
            balls[role] = _ball(ball)
    balls["others"] = [_ball(b) for b in match.balls if b.role == "others"]
    covariance = match.solved.covariance
    measures = match.solved.problem.measures_mm(match.solved.x)
    sizes = match.solved.error(match.solved.problem.measures_mm)
    found: dict[str, Any] = {
        "schema": SCHEMA,
        "of": digest_of(file.path),
        "footage": file.keys.footage,
        "size_px": list(match.size_px),
        "rate": None if answer.rate is None else list(answer.rate),
        "frame": answer.frame,
        "frames": answer.frames,
        "timecode": answer.timecode,
        "target": file.keys.target,
        "holds_from_frame": answer.holds_from_frame,
        "holds_to_frame": answer.holds_to_frame,
        "fades_from_frame": answer.fades_from_frame,
        "is_locked": match.is_locked,
        "camera": {
            "eye_mm": camera.eye_mm.tolist(),
            "eye_error_mm": (1.96 * np.sqrt(np.maximum(np.diag(covariance)[:3], 0))).tolist(),
            "right": camera.axes[0].tolist(),
            "down": camera.axes[1].tolist(),
            "forward": camera.axes[2].tolist(),
            "focal_px": float(camera.focal_px),
            "focal_error_px": float(1.96 * np.sqrt(max(covariance[6, 6], 0)) * float(camera.focal_px)),
            "principal_px": camera.principal_px.tolist(),
            "lens": {"model": "brown-conrady", "k1": lens.k1, "k2": lens.k2},
        },
        "points": {
            name: {
                "at_px": point.at_px.tolist(),
                "error_px": point.error_px,
                "off_px": point.off_px,
                "kind": point.kind,
            }
            for name, point in sorted(match.points.items())
        },
        "balls": balls,
        "shot": None,
        "plan": None,
        "table": {
            "name": match.clicks.table.name,
            "ball_diameter_mm": match.clicks.ball_diameter_mm,
            **{
                f"{name}_mm": {"mm": float(measures[k]), "error_mm": float(sizes[k])}
                for k, name in enumerate(MEASURES)
                if "_spot_" not in name
            },
        },
        "warnings": [warned.sentence for warned in answer.warnings],
    }
    if (shot := answer.shot) is not None:
        found["shot"] = {
            **shot.solved,
            "cut_error_deg": shot.cut_error_deg,
            "distance_error_mm": shot.distance_error_mm,
        }
    if (plan := answer.plan) is not None:
        differences: dict[str, Any] = {
            "cut_deg": abs(plan.cut_deg),
            "side": _side(plan.cut_deg),
            "distance_mm": plan.distance_mm,
        }
        if shot is not None:
            differences["cut_off_deg"] = shot.cut_deg - plan.cut_deg
            differences["distance_off_mm"] = shot.distance_mm - plan.distance_mm
        if plan.places_mm is not None:
            for role, place in zip(("cue", "object"), plan.places_mm, strict=True):
                if (ball := match.ball(role)) is not None:  # type: ignore[arg-type]
                    off = ball.centre_mm[:2] - place
                    differences[role] = {
                        "planned_mm": place.tolist(),
                        "off_mm": off.tolist(),
                        "distance_mm": float(np.hypot(*off)),
                    }
        found["plan"] = differences
    return found


def _ball(ball: MatchedBall) -> dict[str, Any]:
    return {"centre_mm": ball.centre_mm.tolist(), "error_mm": ball.error_mm.tolist(), "seen": ball.seen}


def _side(cut_deg: float) -> str:
    return "straight" if abs(cut_deg) < 1e-9 else "left" if cut_deg > 0 else "right"


def written(answer: Answer) -> bytes:
    """The bytes of `NAME.match.json`."""
    return orjson.dumps(_rounded(told(answer)), option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE)


def _rounded(value: Any) -> Any:
    """Numbers with ten digits: more is noise, and another machine's noise differs."""
    if isinstance(value, float):
        return float(f"{value:.10g}") if np.isfinite(value) else None
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items()}
    return [_rounded(item) for item in value] if isinstance(value, list | tuple) else value


# ------------------------------------------------------------------ for the table


def summary(answer: Answer, wrote: list[Path]) -> str:
    """One screen for whoever stands at the table."""
    match, file = answer.match, answer.file
    parts = []
    if match.is_locked:
        parts.append(f"{match.sights} sight{'s' if match.sights != 1 else ''}")
    if match.spots:
        parts.append(f"{match.spots} spot{'s' if match.spots != 1 else ''}")
    given = len(match.clicks.points)
    used = given - sum(p.kind == "wrong" for p in match.points.values())
    told_picks = f"{used if used == given else f'{used} of {given}'} pick{'s' if given != 1 else ''} used"
    by = ", ".join(parts) or "the picks alone"
    lines = [f"{file.keys.footage}, frame {answer.frame}: matched on {by}; {told_picks}"]

    def line(head: str, text: str) -> None:
        lines.append(f"  {head:<15}{text}")

    places = _places(answer)
    if places:
        errors = match.place_error_px(np.array([p for _, p in places]))
        told_errors = ", ".join(f"{e:.1f} px at the {name}" for (name, _), e in zip(places, errors, strict=True))
        line("drawn places", f"within {told_errors} (95 %)")
    for ball in match.balls:
        line(_ball_name(ball), _ball_line(ball, answer))
    if (shot := answer.shot) is not None:
        plan = f"   (plan: {_cut(answer.plan.cut_deg)}, {answer.plan.distance_mm:.0f})" if answer.plan else ""
        text = (
            f"cut {abs(shot.cut_deg):.1f} ± {shot.cut_error_deg:.1f} degrees {_side(shot.cut_deg)}, "
            f"{shot.distance_mm:.0f} ± {shot.distance_error_mm:.0f} mm between centres{plan}"
        )
        line("the shot", text)
    if (fades := answer.fades_from_frame) is not None and answer.rate is not None:
        seconds = fades * answer.rate[1] / answer.rate[0]
        line("lines", f"fade from frame {fades} on ({seconds:.2f} s), when a ball leaves its place")
    for warned in answer.warnings:
        at = f"{file.path.as_posix()}: " if not warned.at else f"{place_of(file, warned.at)}: "
        line("warning", at + warned.sentence)
    line("written", ", ".join(path.name for path in wrote))
    return "\n".join(lines)


def place_of(file: MatchFile, at: tuple[str | int, ...]) -> str:
    """The place of a key as file:line:column."""
    return str(file.fault("", at).faults[0].place)


def _places(answer: Answer) -> list[tuple[str, Array]]:
    match = answer.match
    found: list[tuple[str, Array]] = []
    for role, name in (("cue", "cue ball"), ("object", "object ball")):
        if (ball := match.ball(role)) is not None:  # type: ignore[arg-type]
            found.append((name, ball.centre_mm))
    target = target_mm(match, answer.file.keys.target)
    R = match.clicks.ball_diameter_mm / 2
    place = np.array([*target, R])
    px = project(match.camera, place)
    if np.isfinite(px).all() and (px > 0).all() and (px < match.size_px).all():
        found.append(("target", place))
    return found


def _ball_name(ball: MatchedBall) -> str:
    return {"cue": "cue ball", "object": "object ball"}.get(ball.role, f"other {ball.index + 1}")


def _ball_line(ball: MatchedBall, answer: Answer) -> str:
    x, y = ball.centre_mm[:2]
    along, across = ("foot" if x > 0 else "head"), ("left" if y > 0 else "right")
    ways = [(abs(x), f"mm to the {along}"), (abs(y), f"mm to the {across}")]
    where = ", ".join(f"{far:.0f} {way}" for far, way in ways if far >= 0.5)
    where = f"{where} of the centre" if where else "on the centre"
    text = f"{where} (± {max(ball.error_mm):.0f})"
    plan = answer.plan
    if plan is None or plan.places_mm is None or ball.role == "others":
        return text
    place = plan.places_mm[0 if ball.role == "cue" else 1]
    return f"{text}; {push(ball.centre_mm[:2], place, float(np.hypot(*ball.error_mm)))}"


def push(at_mm: Array, plan_mm: Array, error_mm: float) -> str:
    """How far a ball is from its planned place, and which way to push it."""
    move = np.asarray(plan_mm) - np.asarray(at_mm)
    off = float(np.hypot(*move))
    if off < max(1.0, error_mm):
        return f"{off:.0f} mm from the plan: as good as can be seen"
    ways = []
    if abs(move[0]) >= 0.5:
        ways.append(f"{abs(move[0]):.0f} mm towards the {'foot' if move[0] > 0 else 'head'}")
    if abs(move[1]) >= 0.5:
        ways.append(f"{abs(move[1]):.0f} mm to the {'left' if move[1] > 0 else 'right'}")
    return f"{off:.0f} mm from the plan: push it {', '.join(ways)}"


def _cut(cut_deg: float) -> str:
    return f"{abs(cut_deg):.1f} {_side(cut_deg)}"
