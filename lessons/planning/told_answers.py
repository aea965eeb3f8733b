"""Answers for people: what `solve` answers in a lesson's units, and questions as people ask them.

The JSON of requests and answers is not touched: a question in words becomes a request, an answer becomes lines.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from math import asin, radians
from types import MappingProxyType
from typing import Any

from aimgeo.construct import Quantity, QuantityKind
from aimgeo.methods import METHODS
from aimgeo.methods.own import READING
from aimgeo.misses import needed_of, p_value
from aimgeo.room import at_tip_mm
from aimgeo.shot import BALL_DIAMETER_MM
from aimgeo.tables import POCKET_NAMES, TABLES, Table
from aimgeo.units import INCH_MM, on_a_mark, trimmed
from lessons.lesson.faults import did_you_mean
from lessons.lesson.values import cut, length
from lessons.lesson.wording import Wording, words_of

SPEEDS_MPS = {"slow": 0.5, "medium": 1.0, "fast": 2.0}
"""Words for the cue ball's speed at impact: those of the throw clip. Common practice."""
LENGTHS = ("distance_mm", "ball_diameter_mm")
POINTS = ("object_ball_mm", "cue_ball_mm", "target_mm")
BRIDGE_MM = 300.0


def asked(key: str, text: str, units: str, table: Table | None, ball_mm: float) -> Any:
    """An option's text in the notations of a lesson as its key's value; where it is none, the text itself.

    A cut is '30', '1/2' or '8 sixteenths'; a length '24 in' or '5 balls'; a point '2 diamonds, 1 diamond', in the
    table's frame; a speed 'slow', 'medium', 'fast' or m/s; the parts of an eye or an error are such lengths.
    ValueError for a notation with a mistake.

    >>> asked("speed_mps", "slow", "mm", None, 57.15), asked("distance_mm", "5 balls", "mm", None, 57.15)
    (0.5, 285.75)
    >>> asked("eye", "back_mm=24 in, height_mm=1 ft", "mm", None, 57.15)
    {'back_mm': 609.6, 'height_mm': 304.8, 'offset_mm': 0.0}
    """
    long_mm = table.length_mm if table is not None else TABLES["9ft"].length_mm
    written = text.strip()

    def mm(part: str) -> float:
        return length(part if not _is_number(part) else f"{part} mm", units).mm(ball_mm, long_mm)

    if written.startswith(("{", "[")):
        return text
    if key in NAMES:
        return _name(written, NAMES[key])
    if key == "cut_deg" and not _is_number(text):
        return cut(text).cut_deg
    if key == "speed_mps":
        return SPEEDS_MPS[written.lower()] if written.lower() in SPEEDS_MPS else _speed(written)
    if key in LENGTHS and not _is_number(text):
        return mm(text)
    if key == "others_mm":
        return [asked("cue_ball_mm", one, units, table, ball_mm) for one in text.split(";")]
    if key in POINTS:
        if key == "target_mm" and "," not in text and not any(c.isdigit() for c in text):
            return _name(written, POCKET_NAMES)
        parts = [part.strip() for part in text.split(",")]
        if len(parts) != 2:
            raise ValueError(
                f"'{written[:40]}' is no place; write two lengths, X,Y, each with a point for a decimal."
            )
        return [mm(part) for part in parts]
    if key == "misses" and re.fullmatch(r"[0-9]+ *, *[0-9]+", written):
        return dict(zip(("left", "right"), map(int, written.split(",")), strict=True))
    if key in PARTS and "=" in text:
        return _part(key, text, mm)
    return text


PARTS = ("eye", "aim_error", "fraction", "pocket")
"""Those that may hold lengths."""
NAMES = {"table": tuple(TABLES), "side": ("left", "right", "straight")}


def _name(text: str, known: Sequence[str]) -> Any:
    """One of some names, however its words are joined; None for null."""
    found = {"null": None, "none": None}
    plain = re.sub(r"(?<=\d) ?(feet|foot|ft)\b", "ft", re.sub(r"[\s_-]+", " ", text.lower())).replace(" ", "-")
    if plain in known or plain in found:
        return found.get(plain, plain)
    raise ValueError(f"'{text[:40]}' is none of its names{did_you_mean(text, known)}")


def _speed(text: str) -> Any:
    """Metres a second, which may have their unit."""
    plain = re.sub(r"\s*m/s$", "", text)
    if not _is_number(plain):
        raise ValueError(f"'{text[:40]}' is no speed; write slow, medium, fast or metres a second, such as 1.5.")
    return float(plain)


def _part(key: str, text: str, mm: Callable[[str], float]) -> dict[str, Any]:
    """A part whose lengths are written as in a lesson; an eye without an offset stands over the aim line."""
    found: dict[str, Any] = {}
    for piece in text.split(","):
        name, _, value = (one.strip() for one in piece.partition("="))
        name = name.replace("-", "_")
        found[name] = mm(value) if name.endswith("_mm") else float(value) if _is_number(value) else value
    if key == "eye" and not {"offset_mm", "alignment"} & found.keys():
        found["offset_mm"] = 0.0
    return found


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def ground(request: Mapping[str, Any]) -> tuple[Table | None, float]:
    """The table and the balls' diameter of a request, as far as it names them well."""
    name, ball = request.get("table", "9ft"), request.get("ball_diameter_mm", BALL_DIAMETER_MM)
    table = TABLES.get(name) if isinstance(name, str) else None
    return table, float(ball) if isinstance(ball, int | float) else BALL_DIAMETER_MM


def told(
    request: Mapping[str, Any],
    answer: Mapping[str, Any],
    units: str,
    bridge: str | None,
    language: str = "en",
    own: Mapping[str, Mapping[str, Any]] | None = None,
) -> list[str]:
    """An answer as lines of text in a language; ValueError for a bridge that is no length.

    `own`: what comes of the shot by methods of a lesson's own, by their names.
    """
    table, ball_mm = ground(request)
    bridge_mm = BRIDGE_MM if bridge is None else length(bridge, units).mm(ball_mm, 0.0)
    return Teller(Wording(words_of(language), units, ball_mm), table, bridge_mm, own or {}).told(answer)


def misses_told(counts: Mapping[str, Any], language: str = "en") -> list[str]:
    """What the counts of misses to the left and to the right tell; ValueError for what are no counts."""
    try:
        left, right = int(counts["left"]), int(counts["right"])
    except (KeyError, TypeError, ValueError):
        raise ValueError("misses needs two counts: left=8,right=2.") from None
    if min(left, right) < 0 or not left + right:
        raise ValueError("misses needs two counts, not below 0 and not both 0: left=8,right=2.")
    chance = p_value(max(left, right), left + right)
    needed = needed_of(left + right)
    words = Wording(words_of(language), "mm", BALL_DIAMETER_MM)
    return list(_misses(words, chance, chance < 0.05, needed, left + right))


def _misses(
    words: Wording, chance: float, lopsided: bool, needed: int | None, total: int | None = None
) -> Iterator[str]:
    key = f"misses_{'of_' if total else ''}{'lean' if lopsided else 'chance'}"
    yield words.text("answer", key, part=words.decimal(100 * chance, 1), total=str(total))
    if not lopsided:
        more = "never" if needed is None else "needed"
        yield words.text("answer", f"misses_{more}", count=str(needed))
    yield words.text("answer", "misses_cause")


def in_units(sentence: str, units: str) -> str:
    """A refusal's millimetres in a lesson's units.

    >>> in_units("its centre (339.51, -254) mm on a bed of 1981.2 x 990.6 mm.", "in")
    'its centre (13.37, -10) in on a bed of 78 x 39 in.'
    """
    if units != "in":
        return sentence

    def inches(found: re.Match[str]) -> str:
        each = (float(one) for one in re.findall(r"-?[\d.]+", found[0]))
        told = iter([on_a_mark(mm) or trimmed(mm / INCH_MM, 2) for mm in each])
        return re.sub(r"-?[\d.]+", lambda _: next(told), found[0]).removesuffix("mm") + "in"

    return re.sub(r"\(?-?[\d.]+(?:(?:, | x )-?[\d.]+)*\)? mm", inches, sentence)


LEAST_DEG = 0.05
"""A smaller cut is to no side, as it is told."""


class Teller:
    """Tells the parts of an answer in the units and digits of a wording."""

    def __init__(
        self,
        words: Wording,
        table: Table | None,
        bridge_mm: float = BRIDGE_MM,
        own: Mapping[str, Mapping[str, Any]] = MappingProxyType({}),
    ) -> None:
        self.words, self.table, self.bridge_mm, self.own = words, table, bridge_mm, own
        self.side = ""

    def told(self, answer: Mapping[str, Any]) -> list[str]:
        """An answer as lines; a refusal as its sentence."""
        if "error" in answer:
            return [in_units(answer["error"]["message"], self.words.units)]
        self.side = answer.get("shot", {}).get("side", "")
        lines: list[str] = []
        for part in (
            "shot",
            "paths",
            "aim_error",
            "fraction",
            "pocket",
            "throw",
            "after",
            "methods",
            "eye",
            "misses",
        ):
            if part in answer:
                lines += getattr(self, part)(answer[part], answer)
        lines += [f"Note: {sentence}" for sentence in answer.get("warnings", ())]
        return lines

    def number(self, value: float, kind: QuantityKind) -> str:
        """A quantity as a lesson writes it."""
        return self.words.listed(Quantity(value, kind))

    def angle(self, deg: float) -> str:
        """An angle without its sign."""
        return self.number(radians(abs(deg)), "angle_rad")

    def say(self, key: str, **fields: str) -> str:
        """One of the sentences, with its fields."""
        return self.words.text("answer", key, **fields)

    def place(self, at_mm: list[float]) -> str:
        """Where a ball lies: from two cushions, or in the frame where there are none."""
        if self.table is None:
            return ", ".join(self.number(mm, "distance_mm") for mm in at_mm[:2])
        found = self.table.from_rails(at_mm)
        names = self.words.words["names"]
        x, y = (self.number(one.diamonds, "diamonds").split(" ")[0] for one in found)
        end, flank = (
            self.words.text(
                "practice_sheet",
                "from_rail",
                length=self.number(one.away_mm, "distance_mm"),
                rail=names[f"{one.rail}-rail"],
            )
            for one in found
        )
        return self.say("place", end=end, flank=flank, x=x, y=y)

    def shot(self, shot: Mapping[str, Any], _answer: Mapping[str, Any]) -> Iterator[str]:
        """The shot: cut, distance, places, where to aim."""
        if shot.get("frozen"):
            yield self.say("frozen")
            return
        if shot.get("hit") is False:
            yield self.say("no_hit")
            return
        between = shot["distance_mm"]
        air = self.number(between - self.words.ball_diameter_mm, "distance_mm")
        cut, overlap = self.angle(shot["cut_deg"]), self.number(shot["overlap"], "overlap")
        yield self.say(f"shot_{shot['side']}", cut=cut, overlap=overlap)
        yield self.say("between", between=self.number(between, "distance_mm"), air=air)
        yield self.say("object_ball", place=self.place(shot["object_ball_mm"]))
        yield self.say("cue_ball", place=self.place(shot["cue_ball_mm"]))
        if shot["side"] == "straight":
            yield self.say("aim_centre")
        else:
            out = "right" if shot["side"] == "left" else "left"
            yield self.say(f"aim_{out}", length=self.number(shot["aim_offset_mm"], "length_mm"))
            yield self.say(f"contact_{out}", length=self.number(shot["contact_offset_mm"], "half_mm"))

    def paths(self, paths: Mapping[str, Any], _answer: Mapping[str, Any]) -> Iterator[str]:
        """Which other balls are in the way."""
        for ball, path in paths.items():
            if path is None:
                continue
            blocked = ", ".join(
                self.say(
                    "ball_by",
                    number=str(one["index"] + 1),
                    length=self.number(-one["clearance_mm"], "length_mm"),
                )
                for one in path["blocked_by"]
            )
            found = self.say("clear") if path["clear"] else self.say("blocked", balls=blocked)
            yield self.say(f"way_{ball}", found=found)

    def reading(self, found: Mapping[str, Any]) -> str:
        """What comes of an aim: in or out, and by how much."""
        if found["hit"] is None:
            return self.say("no_aim")
        if not found["hit"]:
            return self.say("passes")
        cut, miss = self.angle(found["cut_deg"]), found["miss_mm"]
        side = {"left": 1, "right": -1}.get(self.side, 0)
        told = "reading_other" if found["cut_deg"] * side < -LEAST_DEG else "reading"
        if miss is None:
            return self.say(told, cut=cut, off=self.say("astray"))
        key = {True: "off_in", False: "off_out", None: "off"}[found.get("pocketed")]
        return self.say(told, cut=cut, off=self.say(key, length=self.number(abs(miss), "length_mm")))

    def aim_error(self, found: Mapping[str, Any], _answer: Mapping[str, Any]) -> Iterator[str]:
        """What the error of aim does."""
        yield self.say("aim_error", reading=self.reading(found))

    def fraction(self, found: Mapping[str, Any], _answer: Mapping[str, Any]) -> Iterator[str]:
        """The cut that a fraction gives."""
        if found["cut_deg"] is None:
            yield self.say("fraction_passes")
        else:
            side = "right" if found["cut_deg"] > 0 else "left"
            yield self.say(f"fraction_{side}", cut=self.angle(found["cut_deg"]))

    def pocket(self, found: Mapping[str, Any], _answer: Mapping[str, Any]) -> Iterator[str]:
        """How exact the aim has to be."""
        if not found["clean"]:
            yield self.say("no_way_in")
            return
        half_rad = radians(found["aim_window_deg"]) / 2
        off, tip = self.number(half_rad, "limit_rad"), float(at_tip_mm(half_rad, self.bridge_mm))
        yield self.say("window", off=off)
        bridge = self.number(self.bridge_mm, "distance_mm")
        yield self.say("window_tip", length=self.number(tip, "limit_mm"), bridge=bridge)

    def throw(self, found: Mapping[str, Any], _answer: Mapping[str, Any]) -> Iterator[str]:
        """How far the object ball is thrown."""
        low, high = self.angle(found["low_deg"]), self.angle(found["high_deg"])
        yield self.say("throw", cut=self.angle(found["throw_deg"]), low=low, high=high)
        if found["cut_needed_deg"] is None:
            yield self.say("throw_none")
        else:
            shift = self.number(abs(found["cue_shift_mm"]), "length_mm")
            yield self.say("throw_needs", cut=self.angle(found["cut_needed_deg"]), length=shift)

    def after(self, found: Mapping[str, Any], _answer: Mapping[str, Any]) -> Iterator[str]:
        """Where the cue ball goes."""
        turn = found["cue_ball_deflection_deg"]
        yield self.say("stops") if turn is None else self.say("turned", cut=self.angle(turn))

    def methods(self, found: Mapping[str, Any], _answer: Mapping[str, Any]) -> Iterator[str]:
        """What each method's shortcut costs."""
        names = self.words.words["names"]
        yield self.say("methods")
        for name, method in found.items():
            if not method["usable"]:
                reach = self.number(asin(METHODS[name].sin_reach), "angle_rad")
                yield self.say("method", method=names[name], found=self.say("beyond", cut=reach))
                continue
            for key, one in method["readings"].items():
                reading = names.get(f"reading.{key}", key)
                yield self.say("method_reading", method=names[name], reading=reading, found=self.reading(one))
        for called, one in self.own.items():
            reading = names[f"reading.{READING}"]
            yield self.say("method_reading", method=called, reading=reading, found=self.reading(one))

    def eye(self, found: Mapping[str, Any], _answer: Mapping[str, Any]) -> Iterator[str]:
        """What the eye sees and how its line errs."""
        if "visible" in found:
            sees = found["visible"]["contact_object"], found["visible"]["contact_cue"]
            which = {(True, True): "both", (True, False): "object", (False, True): "cue"}.get(sees, "none")
            yield self.say(f"sees_{which}")
        if "sighting" in found:
            yield self.say("sighting", reading=self.reading(found["sighting"]["plane"]))

    def misses(self, found: Mapping[str, Any], _answer: Mapping[str, Any]) -> Iterator[str]:
        """Whether misses lean to a side."""
        yield from _misses(self.words, found["p_value"], found["lopsided"], found["needed_of_same_total"])
