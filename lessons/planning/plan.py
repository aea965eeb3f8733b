"""Plan: the clips that a lesson makes, each with its finished brief, and what could not be used and why."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from math import radians
from pathlib import Path
from typing import Any, Literal

import numpy as np

from aimgeo.construct import Construction, Limit, Position, Quantity, Step
from aimgeo.construct.arrange import SENTENCES
from aimgeo.methods import METHODS
from aimgeo.methods.figure import shot_values
from aimgeo.methods.method import Method
from aimgeo.methods.own import Own, OwnMethod, role_of
from aimgeo.shot import Shot
from aimgeo.tables import Table
from aimgeo.vectors import left
from lessons.lesson.explain import Location, path
from lessons.lesson.faults import Fault, FaultId, LessonError, Place, did_you_mean
from lessons.lesson.model import AXES, CARD_TEXTS, CardGroup, Changes, Eye, Lesson
from lessons.lesson.names import said_names, with_names
from lessons.lesson.own import as_sentence, own_steps, own_words
from lessons.lesson.texts import Translated, said
from lessons.lesson.timing import LOOK_S, Said, clauses, is_left_open, spread, step_frames, timed
from lessons.lesson.values import Length
from lessons.lesson.wording import UnknownField, Values, Wording, words_of
from lessons.planning.arranging import Arrangement, arrangement, skipped, step_key, with_steps
from lessons.planning.expand import Request, View, expand
from lessons.planning.filmed import Filmed, filmed
from lessons.planning.given import given_shots
from lessons.planning.glyphs import too_wide, unset_letters
from lessons.planning.lengths import lengths_path, lock
from lessons.planning.media import film as film_of
from lessons.planning.media import picture as picture_of
from lessons.planning.others import is_blocked, others_of, paint_of, wrongs
from lessons.planning.placing import PlacedShot, Unplaced, place_shots, room_told
from lessons.planning.planned import LeftOut, Plan, PlannedClip
from lessons.planning.preview import marked
from lessons.planning.recordings import speak, strangers
from lessons.planning.scratch_voice import with_voice
from lessons.planning.sound import Sound
from scenes.board.brief import (
    NEXT,
    Brief,
    BriefStep,
    EyeSpec,
    Footage,
    LowerThird,
    Media,
    Other,
    OutlineStep,
    Output,
    Subject,
)
from scenes.board.settings import Settings, settings_of
from scenes.kinds import CLIP_KINDS
from scenes.kinds.cards import figure_limit
from scenes.kinds.lower_third import has_place
from scenes.look import LOOKS
from scenes.look.look import Logo
from scenes.look.roles import NAMED, UNLABELLED

DRAFT_SHORT_SIDE_PX = 360
DRAFT_FPS = 30
STRAIGHT = Quantity("straight", "name")
WORDLESS = ("card.card", "card.line", "film.film")
"""Steps that have no words but the author's."""
PLAYS = ("build-up", "players-eye")
"""Kinds that play their shot in steps of their own."""
PLAYED, PLAYED_AT = ("roll", "shot", "mistake"), 0.5
"""Steps in which a shot is played, and how fast that is, of its true speed."""
COLUMNS = ("cut", "overlap", "contact_offset", "aim_offset")
"""What a table of shots tells, after the picture of the hit."""


Early = Callable[[Sequence[Request], Callable[[Request], PlannedClip | None]], None]
"""Is given what a lesson asks for, and plans of it what it wants to have before all the rest."""


class Overtaken(Exception):  # noqa: N818 - a plan that nobody waits for any more is no error
    """A plan was given up between two clips."""


def plan(
    lesson: Lesson,
    *,
    draft: bool = False,
    language: str | None = None,
    early: Early | None = None,
    is_overtaken: Callable[[], bool] = lambda: False,
) -> Plan:
    """What a lesson makes. `draft` makes the pictures small and at most 30 a second, with the same step lengths.

    `language` is one of the lesson's for pictures and narration, its first when None. Recordings speak the first;
    in another one the lengths are estimated. `early` is called before the rest is planned, but not where
    recordings or locked lengths have a hand in every clip. `is_overtaken` is asked between clips: Overtaken is
    raised when the plan is not wanted any more. Raises LessonError with all faults that show only once the clips
    are known.
    """
    languages = tuple(dict.fromkeys(lesson.keys.language))
    shown = language or languages[0]
    if shown not in languages:
        sentence = f"'{shown}' is not among the lesson's languages ({', '.join(languages)})."
        raise LessonError([Fault(lesson.place("language"), sentence, "language")])
    made = with_voice(
        lesson,
        _Planner(lesson, draft, shown, is_overtaken).plan(speaks=shown == languages[0], locks=True, early=early),
    )
    others = {
        one: {clip.name: tuple(s.narration for s in clip.brief.steps) for clip in told.clips}
        for one in languages
        if one != shown and (told := _Planner(lesson, draft, one, is_overtaken).plan(speaks=False))
    }
    if not others:
        return made
    clips = (
        replace(clip, translations={one: spoken[clip.name] for one, spoken in others.items()})
        for clip in made.clips
    )
    return replace(made, clips=tuple(clips))


def in_footage(steps: tuple[BriefStep, ...], footage: Footage) -> tuple[BriefStep, ...]:
    """Steps that share the footage evenly while the balls lie in their places; the first lasts from its beginning.

    The last one lasts to its end, and before the balls leave has twice its share: then all that is drawn stands
    still for a while.
    """
    end = footage.frames if footage.fades_from is None else min(footage.fades_from, footage.frames)
    each = max((end - footage.begins_at) // (len(steps) + 1), 1)
    lengths = [footage.begins_at * (k == 0) + each for k in range(len(steps) - 1)]
    return tuple(
        replace(step, frames=frames)
        for step, frames in zip(steps, [*lengths, footage.frames - sum(lengths)], strict=True)
    )


def draft_output(output: Output) -> Output:
    """A small picture of the same shape, its sides even, at most 30 frames a second.

    >>> draft_output(Output(1920, 1080, (60000, 1001)))
    Output(width_px=640, height_px=360, rate=(30000, 1001))
    """
    shrink = min(DRAFT_SHORT_SIDE_PX / min(output.width_px, output.height_px), 1.0)
    wide, high = (2 * round(side * shrink / 2) for side in (output.width_px, output.height_px))
    numerator, denominator = output.rate
    if output.fps > DRAFT_FPS:
        numerator //= 2
    return Output(wide, high, (numerator, denominator))


class _Planner:
    """Holds what the clips of a lesson share while they are planned, and gathers the faults."""

    def __init__(
        self, lesson: Lesson, draft: bool, language: str, is_overtaken: Callable[[], bool] = lambda: False
    ) -> None:
        self.lesson, self.keys, self.language = lesson, lesson.keys, language
        self.is_overtaken = is_overtaken
        self.table: Table = self.keys.known_table()
        self.ball_mm = self.keys.ball_mm()
        self.distances_mm = {
            name: length.mm(self.ball_mm, self.table.length_mm) for name, length in self.keys.distances.items()
        }
        self.names = self.said_distances(language) | said_names(self.keys.names, language)
        self.wording = Wording(self.words(language), self.keys.units, self.ball_mm)
        # faults and what is left out are told on the command line, which speaks English
        self.told = Wording(self.words("en"), self.keys.units, self.ball_mm)
        output = Output(*self.keys.output.size, self.keys.output.rate)
        self.output = draft_output(output) if draft else output
        self.look = lesson.look or LOOKS[self.keys.output.theme]
        if lesson.logo is not None:
            try:
                found = picture_of(lesson.logo.name, lesson.logo.parent)
                self.look = replace(
                    self.look, logo=Logo(found.file, found.sha256, found.width_px, found.height_px)
                )
            except ValueError as error:
                raise LessonError([Fault(lesson.place("output", "look"), f"its logo: {error}", "file")]) from None
        self.object_paint = None if self.keys.object_ball is None else paint_of(self.keys.object_ball)
        self.has_marks = self.keys.cue_ball is not None and self.keys.cue_ball.marks
        self.form: str = "draft" if draft else self.keys.output.form
        self.faults: list[Fault] = []
        self.left_out: list[LeftOut] = []
        self.unmade: dict[tuple[Place, str, FaultId], list[str]] = {}
        self.settings: list[Settings] = []
        self.placings: dict[tuple[str, View], PlacedShot | Unplaced] = {}
        self.constructions: dict[tuple[object, ...], Construction | Limit] = {}
        self.steps_known: dict[Location, dict[str, None]] = {}
        self.steps_built: dict[Location, set[str]] = {}
        self.steps_split: dict[Location, set[str]] = {}
        self.emptied: dict[Location, Request] = {}
        self.steps_seen: dict[tuple[str | int, ...], set[str]] = {}
        self.made: dict[str, PlannedClip | None] = {}
        self.own_steps = own_steps(self.keys.own_methods, lesson.own)

    def said_distances(self, language: str) -> dict[str, str]:
        """What people read for the distances that follow from where cue balls are placed."""
        wording = Wording(words_of(language), self.keys.units, self.ball_mm)
        return {
            f"distance.{one.distance}": wording.listed(Quantity(float(one.shot.distance_mm), "distance_mm"))
            for one in given_shots(self.lesson).values()
        }

    def words(self, language: str) -> Mapping[str, Any]:
        """A language's words, with those of the lesson's own methods."""
        words = own_words(words_of(language), self.keys.own_methods, self.lesson.own, language)
        return with_names(words, self.names)

    def plan(self, speaks: bool, locks: bool = False, early: Early | None = None) -> Plan:
        """The plan, or LessonError; with the times and the sound of recordings when it `speaks`.

        `locks` gives clips the lengths that they were delivered with, where the lesson asks for it.
        """
        self.check_sizes()
        requests = expand(self.lesson)
        self.placings = place_shots(
            self.lesson, self.table, self.ball_mm, self.distances_mm, requests, self.faults, self.told
        )
        is_alone = not locks or (self.keys.recordings is None and self.keys.output.lengths != "locked")
        if early is not None and is_alone and not self.faults:
            early(requests, self.early_clip)
        clips = tuple(clip for request in requests if (clip := self.clip_once(request)) is not None)
        self.check_step_names()
        self.faults += self.cannot_be_made()
        if self.lesson.fonts:
            self.faults += unset_letters(self.lesson, clips, self.language)
        if speaks:
            clips = speak(self.lesson, clips, self.faults)
        if locks and self.keys.output.lengths == "locked":
            path = lengths_path(self.lesson.file, self.language, self.keys.language[0])
            clips = lock(self.lesson, clips, path, self.faults)
        preview = marked(self.lesson, clips, self.faults)
        if not clips and not self.faults:
            reasons = self.left_out[0].reason if self.left_out else "nothing is asked for."
            self.faults.append(Fault(self.lesson.place("clips"), f"no clip is left to make: {reasons}", "clips"))
        if self.faults:
            raise LessonError(self.faults)
        title = " ".join(said(self.keys.title, self.language).split())
        left_out = tuple(self.left_out)
        unset = (placing.reason for placing in self.placings.values() if isinstance(placing, Unplaced))
        return Plan(
            title,
            self.lesson.identity,
            self.lesson.file,
            clips,
            left_out,
            self.form,
            self.language,
            eyes={name: self.asked_eye(eye) for name, eye in self.keys.eyes.items()},
            unset=tuple(dict.fromkeys(unset)),
            table=self.table,
            units=self.keys.units,
            ball_mm=self.ball_mm,
            own=tuple(self.lesson.own.values()),
            names={f"method.{name}": self.wording.words["names"][name] for name in self.lesson.own} | self.names,
            unplaced=self.unplaced(),
            notes=(
                *self.lesson.notes,
                *self.without_room(),
                *self.without_effect(),
                *self.unused(clips),
                *too_wide(self.lesson),
            ),
            preview=preview,
            fonts=tuple(file for file, _ in self.lesson.fonts),
        )

    def cannot_be_made(self) -> Iterator[Fault]:
        """What the author asks for by name and can't be made: each reason once, with the count of clips."""
        for (place, sentence, id), names in self.unmade.items():
            more = f" and {len(names) - 1} more" if len(names) > 1 else ""
            yield Fault(place, f"{names[0]}{more} can't be made: {sentence}", id)

    def unplaced(self) -> dict[str, str]:
        """The shots that can't be set on the table, in a few words, each with its reason."""
        found = {}
        for (_, view), placing in self.placings.items():
            if isinstance(placing, Unplaced):
                angle = self.told.shown(Quantity(view.cut.cut_rad, "angle_rad"))
                cut = "straight" if view.side == "straight" else f"{angle} {view.side}"
                mm = self.told.listed(Quantity(self.distances_mm[view.distance], "distance_mm"))
                found[f"{cut}, {self.told.called('distance', view.distance)}, {mm}"] = placing.reason
        return found

    def without_room(self) -> Iterator[Fault]:
        """Distances at which no shot of the lesson can be set up on its table."""
        rooms: dict[str, list[float | None]] = {}
        for (_, view), placing in self.placings.items():
            rooms.setdefault(view.distance, []).append(placing.room_mm if isinstance(placing, Unplaced) else None)
        for name, found in rooms.items():
            longest = [room for room in found if room is not None]
            if len(longest) == len(found):
                shown = self.told.listed(Quantity(self.distances_mm[name], "distance_mm"))
                room = room_told(max(longest), self.told)
                sentence = f"no shot fits at '{name}', {shown}: there is room for {room} at most."
                yield Fault(self.lesson.place("distances", name), sentence, "place")

    def unused(self, clips: Sequence[PlannedClip]) -> Iterator[Fault]:
        """Recordings in the lesson's folder that no clip asks for."""
        yield from strangers(self.lesson, [*(clip.name for clip in clips), *(left.name for left in self.left_out)])

    def without_effect(self) -> Iterator[Fault]:
        """Overrides that set nothing, and steps that have nothing to split."""
        for at, done in self.steps_split.items():
            holder: Any = self.keys
            for part in at:
                holder = holder[part] if isinstance(part, int) else getattr(holder, part)
            for i, name in enumerate(holder):
                if step_key(name) not in done:
                    sentence = f"step '{name}' draws one thing; there is nothing to split."
                    yield Fault(self.lesson.place(*at, i), sentence, "no-effect")
        for k, group in enumerate(self.keys.clips):
            for i, one in enumerate(getattr(group, "overrides", ())):
                if not one.model_fields_set & Changes.model_fields.keys():
                    place = self.lesson.place("clips", k, "overrides", i)
                    yield Fault(place, "this override changes nothing; write what is different.", "no-effect")

    def check_sizes(self) -> None:
        """Lengths that make no shot, and settings that a kind can't show."""
        if not 20 <= self.ball_mm <= 120:
            place = self.lesson.place("ball")
            self.faults.append(Fault(place, f"ball is {self.ball_mm:g} mm; balls from 20 to 120 mm are drawn."))
        for name, mm in self.distances_mm.items():
            if mm < self.ball_mm:
                self.faults.append(
                    Fault(
                        self.lesson.place("distances", name),
                        f"distance '{name}' is {self.told.listed(Quantity(mm, 'distance_mm'))} from centre to "
                        f"centre; balls {self.ball_mm:g} mm wide can't be nearer than that.",
                    )
                )
        self.settings = [self.group_settings(index) for index in range(len(self.keys.clips))]
        if self.faults:
            raise LessonError(self.faults)

    def early_clip(self, request: Request) -> PlannedClip | None:
        """One clip before the others; None when there is any fault as well."""
        clip = self.clip_once(request)
        return None if self.faults else clip

    def clip_once(self, request: Request) -> PlannedClip | None:
        """One clip, planned when it is asked for first."""
        if request.name not in self.made:
            if self.made and self.is_overtaken():
                raise Overtaken
            self.made[request.name] = self.clip(request)
        return self.made[request.name]

    def clip(self, request: Request) -> PlannedClip | None:
        """One clip with its brief; None when it is left out or faulty."""
        shown = [
            (subject, placed)
            for view in request.views
            if (placed := self.placed(request, view)) and (subject := self.subject(request, view, placed))
        ]
        subjects = [subject for subject, _ in shown]
        if request.views and not subjects:
            return None
        film = self.filmed(request) if CLIP_KINDS[request.kind].is_filmed else None
        if film is not None:
            if (over := self.over_footage(request, film)) is None:
                return None
            subject = over
        elif CLIP_KINDS[request.kind].is_filmed:
            return None
        else:
            plain = Subject(request.kind, object_paint=self.object_paint, has_marks=self.has_marks)
            subject = subjects[0] if subjects else plain
        if (media := self.media(request)) is False:
            return None
        subject = replace(
            subject, media=media[0] if media else None, listed=len(getattr(request.keys, "lines", ()))
        )
        if CLIP_KINDS[request.kind].spans:
            subject = replace(subject, companions=tuple(subjects))
        subject = replace(subject, settings=self.settings[request.group])
        if (figure := self.figure(request)) is not None:
            subject = replace(subject, own=figure)
        wanted = arrangement(request)
        for one in (subject, *subject.companions):
            if one.construction is not None:
                self.note_steps(wanted, [step.name for step in one.construction.steps], are_built=True)
        try:
            subject = with_steps(subject, wanted)
        except ValueError as error:
            self.misplaced(request, wanted, error)
            return None
        self.note_splits(wanted, subject)
        try:
            outline: tuple[OutlineStep, ...] = CLIP_KINDS[request.kind].outlined(subject, self.output, self.look)
        except ValueError as error:  # too few or too many shots for this kind
            self.unfit(request, f"{error}.", is_short=len(subjects) < len(request.views))
            return None
        self.note_steps(wanted, [step.name for step in outline])
        try:
            unwanted = skipped(outline, wanted)
        except ValueError as error:
            self.misplaced(request, wanted, error)
            return None
        if subject.shot is not None and request.kind in PLAYS and is_blocked(subject.shot, subject.others):
            # no ball runs through another one
            unwanted = tuple(k for k, step in enumerate(outline) if k in unwanted or step.name in PLAYED)
        values = self.values(request, subject, shown[0][1] if shown else None)
        all_steps = [self.step(request, s, {**values, **dict(s.values)}, len(outline), subject) for s in outline]
        if subject.kind == "alignments":
            all_steps = self.by_eyes(subject, outline, all_steps, values)
        steps = tuple(step for k, step in enumerate(all_steps) if k not in unwanted)
        if not steps:
            if wanted.only_at not in self.emptied:
                self.emptied[wanted.only_at] = request
            return None
        if film is not None:
            if unwanted:
                told = "over footage steps can't be left out of the kind's own; name steps of the construction."
                self.faults.append(Fault(self.lesson.place(*wanted.only_at), told, "step"))
            steps = in_footage(steps, film.footage)
        brief = Brief(
            name=request.name,
            subject=subject,
            output=self.output if film is None else self.film_output(film),
            steps=steps,
            labels=self.labels(request, values, steps),
            look=self.look,
            rows=self.rows(subject),
            handle_frames=self.output.frames(self.keys.output.handles or 0.0) if film is None else 0,
            skipped=tuple((k, replace(all_steps[k], frames=self.drawn(outline[k]))) for k in unwanted),
            lower_third=self.lower_third(request, steps),
        )
        self.check_lower_third(request, brief)
        on = request.on
        return PlannedClip(
            name=request.name,
            brief=brief,
            place=request.place,
            method=_key(on["method"]) if "method" in on else None,
            cut_text=on["cut"].text if "cut" in on else None,
            cut_deg=on["cut"].cut_deg if "cut" in on else None,
            side=on.get("side"),
            distance_name=on.get("distance"),
            distance_mm=shown[0][1].distance_mm if "distance" in on else None,
            eye=on.get("eye"),
            shots=tuple({placed.identity: placed for _, placed in shown}.values()),
            footage=None if film is None else film.file,
            sound=media[1] if media else None,
            set_up=None if film is None else film.set_up,
        )

    def figure(self, request: Request) -> Own | None:
        """The method of the lesson's own whose construction a card shows; a fault where that can't be drawn."""
        own = self.lesson.own.get(_key(str(getattr(request.keys, "figure", ""))))
        if own is not None and (limit := figure_limit(own)) is not None:
            place = self.lesson.place("clips", request.group, "figure")
            told = f"can't stand beside the words, on a half-ball hit: {self.told.limit(limit)}"
            self.faults.append(Fault(place, f"figure '{request.keys.figure}' {told}", "method"))  # type: ignore[attr-defined]
            return None
        return own

    def media(self, request: Request) -> tuple[Media, Sound | None] | Literal[False] | None:
        """The picture or the film of a clip, with the film's sound; None for none, False for a faulty one."""
        keys, beside = request.keys, Path(self.lesson.file).parent
        try:
            if CLIP_KINDS[request.kind].is_film:
                at = "film"
                found, has_sound = film_of(keys.film, beside, keys.begin, keys.end)  # type: ignore[attr-defined]
                assert found.film_s is not None
                is_heard = has_sound and keys.sound  # type: ignore[attr-defined]
                return found, Sound(found.file, found.sha256, *found.film_s) if is_heard else None
            at = "picture"
            named = getattr(keys, "picture", None)
            return None if named is None else (picture_of(named, beside), None)
        except ValueError as error:
            self.faults.append(Fault(self.lesson.place("clips", request.group, at), str(error), "file"))
            return False

    def drawn(self, step: OutlineStep) -> int:
        """The frames in which a step that nobody sees is drawn."""
        return max(self.output.frames(step.draws_s), 1)

    def note_steps(self, wanted: Arrangement, names: Sequence[str], *, are_built: bool = False) -> None:
        """Remember which steps there are where a lesson chooses among them, and which are a construction's."""
        for at in (wanted.only_at, wanted.splits_at):
            if at:
                self.steps_known.setdefault(at, {}).update(dict.fromkeys(names))
                self.steps_built.setdefault(at, set()).update(map(step_key, names) if are_built else ())

    def note_splits(self, wanted: Arrangement, subject: Subject) -> None:
        """Remember which steps were split where a lesson asks for it."""
        for one in (subject, *subject.companions):
            names = {step_key(step.name) for step in one.construction.steps} if one.construction else set()
            done = (name for name in wanted.splits if f"{name} 1" in names)
            if wanted.splits_at:
                self.steps_split.setdefault(wanted.splits_at, set()).update(done)

    def misplaced(self, request: Request, wanted: Arrangement, error: ValueError) -> None:
        """Remember a clip whose steps can't come in the order that the lesson asks for."""
        place = self.lesson.place(*(wanted.only_at or wanted.splits_at))
        self.unmade.setdefault((place, f"{error}.", "step"), []).append(request.name)

    def filmed(self, request: Request) -> Filmed | None:
        """The matched shot that a clip lies over; a fault where there is none."""
        named = request.on["footage"]
        at = ("clips", request.group, "footage")
        settings = self.settings[request.group]
        try:
            return filmed(Path(self.lesson.file).parent / named, getattr(settings, "shot", "") == "plan")
        except ValueError as error:
            fault = Fault(self.lesson.place(*at), str(error), "recording")
            if fault not in self.faults:
                self.faults.append(fault)
            return None

    def over_footage(self, request: Request, film: Filmed) -> Subject | None:
        """The subject of a clip over footage; None when its method doesn't reach the shot."""
        name = _key(request.on["method"])
        own = self.lesson.own.get(name)
        if own is not None and own.needs_eye:
            camera = film.footage.camera
            method: Method = own.method(_eye_at(film.shot, camera.eye_mm))
        else:
            method = METHODS[name] if own is None else own.method()
        if limit := method.limit(film.shot):
            self.left_out.append(LeftOut(request.name, self.told.limit(limit), request.place))
            return None
        told = [("as_filmed", film.cut_deg, float(film.shot.distance_mm))]
        if film.planned is not None:
            told.append(("as_planned", *film.planned))
            if getattr(self.settings[request.group], "shot", "") == "plan":
                del told[0]
        heading = tuple(
            self.wording.phrase(
                key,
                {
                    "cut": Quantity(abs(radians(cut)), "angle_rad"),
                    "side": Quantity("left" if cut > 0 else "right", "name"),
                    "distance": Quantity(float(round(distance)), "distance_mm"),
                },
            )
            for key, cut, distance in told
        )
        return Subject(
            kind=request.kind,
            table=film.table,
            target_name=film.pocket,
            shot=film.shot,
            construction=method.construct(film.shot),
            footage=replace(film.footage, heading=heading),
            own=own,
        )

    def film_output(self, film: Filmed) -> Output:
        """Size, rate and timecode of the footage; a draft keeps rate and length."""
        own = Output(*film.size_px, film.rate, film.timecode)
        if self.form != "draft":
            return own
        small = draft_output(own)
        return Output(small.width_px, small.height_px, film.rate, film.timecode)

    def placed(self, request: Request, view: View) -> PlacedShot | None:
        """A clip's shot on the table; None when it can't be set there."""
        placing = self.placings.get((request.name, view))  # none where its spot is a fault already told
        if isinstance(placing, Unplaced):
            self.left_out.append(LeftOut(_left_name(request, view), placing.reason, request.place))
            return None
        return placing

    def subject(self, request: Request, view: View, placed: PlacedShot) -> Subject | None:
        """One shot of a clip; None when its method doesn't reach it, or its kind has nothing to show of it."""
        construction = None
        if view.side == "straight" and CLIP_KINDS[request.kind].needs_cut:
            self.beyond(request, view, f"a {request.kind} clip needs a cut; this shot is straight.")
            return None
        is_over_cuts = CLIP_KINDS[request.kind].is_over_cuts
        if view.method is not None and not is_over_cuts:
            found = self.construction(view, placed)
            if isinstance(found, Limit):
                self.beyond(request, view, self.told.limit(found))
                return None
            construction = found
        return Subject(
            kind=request.kind,
            table=self.table,
            others=self.others(request, placed.shot),
            object_paint=self.object_paint,
            has_marks=self.has_marks,
            target_name=placed.pocket,
            shot=placed.shot,
            construction=construction,
            eye=self.eye(view.eye, placed.shot) if view.eye else None,
            distance_name=placed.distance_name,
            own=self.lesson.own.get(_key(view.method or "")),
            judged=_key(view.method or "") if is_over_cuts else None,
        )

    def construction(self, view: View, placed: PlacedShot) -> Construction | Limit:
        """The construction of a view's method, or why there is none; worked out once for all clips of a shot."""
        method = self.method(view, placed)
        key = (method.name, method.eye if isinstance(method, OwnMethod) else None, placed)
        if key not in self.constructions:
            limit = method.limit(placed.shot)
            self.constructions[key] = method.construction(placed.shot) if limit is None else limit
        return self.constructions[key]

    def others(self, request: Request, shot: Shot) -> tuple[Other, ...]:
        """The other balls of a clip: its override's or its group's, else the lesson's; faults for those in the
        way."""
        told, at = self.keys.others, ("others",)
        for changes, place in reversed(request.changes):
            if changes.others:
                told, at = changes.others, (*place, "others")  # type: ignore[assignment]
        found = others_of(told, self.ball_mm, self.table.length_mm, self.language)
        for n, why in wrongs(shot, found, self.table, [one.in_the_way for one in told]):
            fault = Fault(self.lesson.place(*at, n), f"{path(at)}[{n}] {why}", "place")
            if all(one.place != fault.place for one in self.faults):
                self.faults.append(fault)
        return found

    def method(self, view: View, placed: PlacedShot) -> Method:
        """The view's method; one of the lesson's own looks from the view's eye, else from the lesson's first."""
        name = _key(view.method or "")
        if name not in self.lesson.own:
            return METHODS[name]
        own = self.lesson.own[name]
        pocket = None if placed.pocket is None else self.table.pocket(placed.pocket)
        if not own.needs_eye:
            return own.method(pocket=pocket)
        eye = self.eye(view.eye or next(iter(self.keys.eyes)), placed.shot)
        return own.method((eye.back_mm, eye.offset_mm, eye.height_mm), pocket)

    def beyond(self, request: Request, view: View, sentence: str) -> None:
        """A method that does not reach the cut: the author's mistake when the group names both, else left out."""
        # it is so at every distance and for every eye
        name = _left_name(request, view, ("method", "cut", "side"))
        if request.is_explicit:
            names = self.unmade.setdefault((request.place, sentence, "method"), [])
            if name not in names:
                names.append(name)
        elif (left := LeftOut(name, sentence, request.place)) not in self.left_out:
            self.left_out.append(left)

    def unfit(self, request: Request, sentence: str, *, is_short: bool) -> None:
        """A kind that can't show what it is given: left out when shots of it were, else the author's mistake."""
        if is_short:
            self.left_out.append(LeftOut(request.name, sentence, request.place))
        else:
            self.unmade.setdefault((request.place, sentence, "method"), []).append(request.name)

    def group_settings(self, index: int) -> Settings:
        """What a group sets of its kind's own settings; faults for what is out of bounds or has no meaning."""
        group = self.keys.clips[index]
        kind = CLIP_KINDS[group.kind].settings
        found: dict[str, Any] = {}
        for one in settings_of(kind):
            if one.key not in group.model_fields_set:
                continue
            written = getattr(group, one.key)
            value = self.mm(written) if isinstance(written, Length) else written
            place = self.lesson.place("clips", index, one.key)
            if not one.is_allowed(value):
                shown = written.text if isinstance(written, Length) else one.written(value)
                self.faults.append(Fault(place, f"{one.key} is {shown}; it goes {one.range}.", "setting"))
            elif one.only and str(getattr(group, one.only[0])) != one.only[1]:
                only = ": ".join(one.only)
                sentence = f"{one.key} is used with '{only}' only; write that too, or leave it out."
                self.faults.append(Fault(place, sentence, "setting"))
            else:
                found[one.name] = value
        return kind(**found)

    def eye(self, name: str, shot: Shot) -> EyeSpec:
        """An eye of the lesson for a shot: a named alignment becomes its offset, left positive."""
        eye: Eye = self.keys.eyes[name]
        R = float(shot.radius_mm)
        offsets = {
            None: 0.0,
            "aim-line": 0.0,
            "contact-line": float(shot.side * shot.contact_offset_mm),
            "cue-edge-left": R,
            "cue-edge-right": -R,
        }
        offset = offsets[eye.alignment] if eye.offset is None else self.mm(eye.offset)
        follows = eye.alignment == "contact-line"
        return EyeSpec(name, self.mm(eye.back), offset, self.mm(eye.height), follows)

    def asked_eye(self, eye: Eye) -> dict[str, Any]:
        """An eye of the lesson in the words of `aimgeo solve`."""
        asked: dict[str, Any] = {"back_mm": self.mm(eye.back), "height_mm": self.mm(eye.height)}
        if eye.offset is None:
            return asked | {"alignment": _key(eye.alignment or "aim-line")}
        return asked | {"offset_mm": self.mm(eye.offset)}

    def mm(self, length: Any) -> float:
        """A length of the lesson in millimetres."""
        mm: float = length.mm(self.ball_mm, self.table.length_mm)
        return mm

    def values(self, request: Request, subject: Subject, placed: PlacedShot | None) -> dict[str, Quantity | str]:
        """The fields that the clip's texts may use."""
        names = self.wording.words["names"]
        values: dict[str, Quantity | str] = {"lesson": said(self.keys.title, self.language)}
        if placed is not None:
            values |= placed.values
        values |= {f"other_{n}": one.name for n, one in enumerate(subject.others, 1) if one.name}
        if subject.target_name is not None:
            values["pocket"] = names[subject.target_name]
        elif placed is not None:
            values["pocket"] = names[self.aimed_at(placed.shot)]
        if subject.construction is not None:
            values["method"] = names[subject.construction.method]
        elif subject.judged is not None:
            values["method"] = names[subject.judged]
        if subject.distance_name is not None:
            values["distance_name"] = self.wording.called("distance", subject.distance_name)
        if subject.eye is not None:
            values["eye"] = self.wording.called("eye", subject.eye.name)
        if isinstance(request.keys, CardGroup) and request.keys.title:
            values["title"] = said(request.keys.title, self.language)
        return values

    def aimed_at(self, shot: Shot) -> str:
        """What a target is that is no pocket: a cushion, by its name, or a place."""
        R, (x, y) = float(shot.radius_mm), shot.target_mm[:2].tolist()
        off = {
            "foot-rail": self.table.length_mm / 2 - x, "head-rail": self.table.length_mm / 2 + x,
            "left-rail": self.table.width_mm / 2 - y, "right-rail": self.table.width_mm / 2 + y,
        }  # fmt: skip
        return next((rail for rail, mm in off.items() if abs(mm - R) < 0.5), "marked_place")

    def step(self, request: Request, step: OutlineStep, values: Values, of: int, subject: Subject) -> BriefStep:
        """One step: its own words, or what the lesson says in place of them."""
        title, narration, given_s, note = None, None, None, ""
        then: tuple[str, tuple[Said, ...]] = ("", ())
        pace = look_s = 0.0
        written_at: tuple[str | int, ...] = ()
        if isinstance(request.keys, CardGroup) and request.keys.title:
            title = self.filled(request.keys.title, values, ("clips", request.group, "title"), spoken=False)
        if step.sentence == "card.line":
            k = int(step.name.removeprefix("line ")) - 1
            title = self.line(request, k, values)
        elif step.sentence == "card.card" and title is None:
            title = ""
            if not any(getattr(request.keys, key, None) for key in ("over", "under", "text", "lines", "picture")):
                sentence = (
                    f"clips[{request.group}] shows nothing; a card needs a title, a text, lines or a picture."
                )
                self.faults.append(Fault(request.place, sentence, "missing"))
        for changes, at in request.changes:
            self.steps_seen.setdefault(at, set()).add(step.name)
            if changes.narration is not None and narration is None:
                if of == 1:
                    written_at = (*at, "narration")
                    narration = self.narrated(changes.narration, values, written_at)
                elif (place := self.lesson.place(*at, "narration")) not in {fault.place for fault in self.faults}:
                    told = f"a {request.kind} clip has {of} steps; write the narration under 'steps', each under "
                    self.faults.append(Fault(place, f"{told}its step's name, as aimgeo plan lists them.", "step"))
            written = next((name for name in changes.steps if step_key(name) == step_key(step.name)), None)
            if written is None:
                continue
            own, where = changes.steps[written], (*at, "steps", written)
            if own.title is not None and title is None:
                title = self.filled(own.title, values, (*where, "title"), spoken=False)
            if own.narration is not None and narration is None:
                written_at = (*where, "narration")
                narration = self.narrated(own.narration, values, written_at)
            if own.note is not None and not note:
                note = self.filled(own.note, values, (*where, "note"), spoken=True)
            look_s = look_s or own.pause or 0.0
            pace = pace or own.pace or 0.0
            if own.seconds is not None and given_s is None:
                given_s, least_s = own.seconds, step.draws_s / (pace or 1.0)
                if given_s < least_s:
                    told = f"step '{step.name}' is given {given_s:g} s; to draw it takes {least_s:.1f} s."
                    self.faults.append(Fault(self.lesson.place(*where, "seconds"), told, "step"))
        try:
            if title is None or narration is None:
                usual, said_usually, usual_at = self.usual_words(step.sentence, values)
                if step.sentence in WORDLESS:
                    text = getattr(request.keys, "text", None) if step.sentence == "card.card" else None
                    under = (
                        self.filled(text, values, ("clips", request.group, "text"), spoken=True) if text else ""
                    )
                    said_usually = unmarked(as_sentence(title)) if title else ""
                    if step.sentence == "card.line":
                        said_usually = f"[{step.name.replace(' ', '.')}] {said_usually}"
                    if under:
                        said_usually += f" [text] {unmarked(as_sentence(under))}"
                title = usual if title is None else title
                if narration is None:
                    narration, written_at = said_usually, usual_at
                    if step.then:
                        then = clauses(self.wording.marked_narration(step.then, values))
        except UnknownField as error:
            if error.field != "title":
                raise
            sentence = f"'title' is missing in clips[{request.group}]; a {request.kind} card needs one."
            self.faults.append(Fault(request.place, sentence, "missing"))
            title = narration = ""
        narration, parts = clauses(narration)
        if written_at:
            parts = self.named(parts, subject, step, written_at)
        if not any(one.names for one in parts):
            parts = spread(narration, parts, self.drawn_in(step, subject))
        said_before = len(narration.split())
        narration = f"{narration} {then[0]}".rstrip()
        parts = (*parts, *(shifted(one, said_before) for one in then[1]))
        speech = self.keys.speech
        pause_s = speech.pause or 0.0
        frames = step_frames(
            self.output,
            narration,
            step.draws_s / (pace or 1.0),
            given_s,
            speech.words_a_minute,
            pause_s,
            max(LOOK_S if step.measures else 0.0, step.after_s),
        ) + self.output.frames(look_s)
        spoken = timed(narration, parts, frames / self.output.fps, speech.words_a_minute, pause_s)
        measures = tuple(self.wording.measure(key, quantity, values) for key, quantity in step.measures)
        return BriefStep(step.name, title, narration, frames, measures, spoken, pace or 1.0, note)

    def usual_words(self, sentence: str, values: Values) -> tuple[str, str, tuple[str | int, ...]]:
        """Title and narration of a step, with its marks, and where the lesson says it if it does.

        Steps that are one say all their words under the first one's title.
        """
        if sentence in WORDLESS:  # what the author shows speaks for itself
            return "", "", ()
        keys = sentence.split(SENTENCES)
        found = [self.own_words(key, values) or self.built_in_words(key, values) for key in keys]
        at = next((at for _, _, at in found if at), ())
        return found[0][0], " ".join(narration for _, narration, _ in found), at

    def built_in_words(self, key: str, values: Values) -> tuple[str, str, tuple[str | int, ...]]:
        """The words that aimgeo has for a step."""
        return self.wording.title(key, values), self.wording.marked_narration(key, values), ()

    def own_words(self, key: str, values: Values) -> tuple[str, str, tuple[str | int, ...]] | None:
        """The words of a step of a method of the lesson's own."""
        if key not in self.own_steps:
            return None
        told, where = self.own_steps[key]
        title = self.filled(told.title, values, (*where, "title"), spoken=False)
        if told.narration is None:
            return title, unmarked(as_sentence(title)), ()
        at = (*where, "narration")
        return title, self.narrated(told.narration, values, at), at

    def named(
        self, parts: Sequence[Said], subject: Subject, step: OutlineStep, at: tuple[str | int, ...]
    ) -> tuple[Said, ...]:
        """Clauses of the lesson's own words: the parts of its own method by their roles; a fault for a name of
        nothing."""
        plan = subject.construction
        roles = {} if plan is None else {role: role for one in plan.steps for role in roles_of(one)}
        if subject.own is not None:
            roles |= {role.removeprefix(role_of(subject.own, "")): role for role in roles}
        known = {*roles, *self.wording.words["labels"], *(key for key, _ in step.measures), *NAMED, NEXT}
        out = []
        for part in parts:
            for name in part.names:
                place = self.lesson.place(*at)
                if name not in known and all(fault.place != place for fault in self.faults):
                    sentence = f"'[{name}]' names nothing in the picture{did_you_mean(name, sorted(known))}"
                    self.faults.append(Fault(place, sentence, "unknown-name"))
            out.append(replace(part, names=tuple(roles.get(name, name) for name in part.names)))
        return tuple(out)

    def drawn_in(self, step: OutlineStep, subject: Subject) -> dict[str, str]:
        """What a step of the construction draws, in its order, with what it is called; nothing of another step."""
        steps = () if subject.construction is None else subject.construction.steps
        drawn = next((one for one in steps if one.sentence == step.sentence), None)
        if drawn is None:
            return {}
        named = [role for role in roles_of(drawn) if role not in UNLABELLED] or roles_of(drawn)
        measures = [measure.key for measure in drawn.measures if measure.between_mm is not None]
        return {name: self.wording.words["labels"].get(name, "") for name in (*named, *measures)}

    def by_eyes(
        self, subject: Subject, outline: Sequence[OutlineStep], steps: Sequence[BriefStep], values: Values
    ) -> list[BriefStep]:
        """Steps that show an eye each, and one all of them: under the names that the lesson gives."""
        names = [self.names.get(f"eye.{c.eye.name}") for c in subject.companions if c.eye is not None]
        by_step = {f"eye {n}": name for n, name in enumerate(names, 1)}
        made = []
        for step, told in zip(steps, outline, strict=True):
            name = by_step.get(step.name)
            if (
                name is not None
                and step.title == self.usual_words(told.sentence, {**values, **dict(told.values)})[0]
            ):
                step = replace(step, title=name)
            if step.name == "together":
                measures = zip(step.measures, names, strict=True)
                step = replace(step, measures=tuple(m if n is None else replace(m, name=n) for m, n in measures))
            made.append(step)
        return made

    def narrated(self, told: Translated, values: Values, at: tuple[str | int, ...]) -> str:
        """A narration of the lesson, filled in, with its marks; a fault where one of them is not closed."""
        text = self.filled(told, values, at, spoken=True)
        if is_left_open(text):
            place = self.lesson.place(*(at if isinstance(told, str) else (*at, self.language)))
            if all(fault.place != place for fault in self.faults):
                sentence = "has a bracket that is not closed; write a mark as [aim-line], a bracket itself as [[."
                self.faults.append(Fault(place, sentence, "text"))
        return text

    def filled(self, told: Translated, values: Values, at: tuple[str | int, ...], *, spoken: bool) -> str:
        """A text of the lesson with its fields filled in; a fault at its place when it can't be."""
        text = said(told, self.language)
        at = at if isinstance(told, str) else (*at, self.language)
        id: FaultId
        try:
            return self.wording.filled(text, values, spoken=spoken)
        except UnknownField as error:
            sentence = f"unknown field '{{{error.field}}}'{did_you_mean(error.field, error.known)}"
            if error.field in error.known:
                sentence = f"a field stands alone in its braces: {{{error.field}}}."
            id = "unknown-name"
        except ValueError:
            sentence = "has a single brace; write a field as {cut}, a brace itself as {{ or }}."
            id = "text"
        place = self.lesson.place(*at)
        if all(fault.place != place for fault in self.faults):  # the same text stands in many clips
            self.faults.append(Fault(place, sentence, id))
        return text

    def labels(self, request: Request, values: Values, steps: tuple[BriefStep, ...]) -> dict[str, str]:
        """The words of the picture."""
        labels: dict[str, str] = {
            **self.wording.words["labels"],
            "decimal": self.wording.words["decimal"],
            "units": self.keys.units,
        }
        if CLIP_KINDS[request.kind].is_over_cuts:
            named = {key: text for key, text in self.names.items() if key.startswith(("eye.", "distance."))}
            labels |= {key.replace("distance.", "at."): text for key, text in named.items()}
        if paces := {step.pace for step in steps if step.name in PLAYED and step.pace != 1}:
            speed = Quantity(PLAYED_AT * min(paces), "part")
            labels["half_speed"] = self.wording.phrase("played_at", {"speed": speed})
        for step in steps:
            if step.pace != 1:
                told = {"speed": Quantity(step.pace, "part")}
                labels[f"pace.{step.name}"] = self.wording.phrase("shown_at", told)
        if "side" in values:
            is_straight = values["side"] == STRAIGHT
            labels["heading"] = self.wording.phrase("heading_straight" if is_straight else "heading", values)
            labels["distance"] = self.wording.phrase("distance", values)
            labels["between_centres"] = self.wording.phrase("between_centres", values)
            labels["target"] = self.wording.phrase("target", values)
        if isinstance(request.keys, CardGroup):
            labels["title"] = steps[0].title
            for key in CARD_TEXTS:
                text = getattr(request.keys, key, None)
                if text is not None:
                    labels[key] = self.filled(text, values, ("clips", request.group, key), spoken=False)
            for k in range(len(getattr(request.keys, "lines", ()))):
                labels[f"line.{k + 1}"] = self.line(request, k, values)
        return labels

    def lower_third(self, request: Request, steps: Sequence[BriefStep]) -> LowerThird | None:
        """The look's lower third, where a step of the clip asks for it."""
        names = {step_key(step.name): step.name for step in steps}
        wanted: dict[str, tuple[bool, tuple[str | int, ...]]] = {}
        for changes, at in request.changes:
            for name, own in changes.steps.items():
                if own.lower_third is not None:
                    wanted.setdefault(step_key(name), (own.lower_third, (*at, "steps", name, "lower_third")))
        asked = [(names[key], at) for key, (is_wanted, at) in wanted.items() if is_wanted and key in names]
        if not asked:
            return None
        step, at = asked[0]
        told = self.lesson.lower_third
        sentence = None
        if told is None:
            sentence = "there is no lower third to come in; write one in a look file: output: {look: ...}."
        elif len(asked) > 1:
            sentence = f"{request.name} has two steps with a lower third; leave one out."
        if sentence is not None or told is None:
            self.told_once(Fault(self.lesson.place(*asked[-1][1]), str(sentence), "missing"))
            return None
        under = "" if told.under is None else said(told.under, self.language)
        return LowerThird(step, said(told.name, self.language), under, told.seconds)

    def check_lower_third(self, request: Request, brief: Brief) -> None:
        """A fault where it would cover something, wherever it stood."""
        told = brief.lower_third
        if told is None or self.faults or has_place(CLIP_KINDS[brief.subject.kind].board(brief)):
            return
        for changes, at in request.changes:
            for name in changes.steps:
                if step_key(name) == step_key(told.step):
                    sentence = (
                        f"in {request.name} there is no room for the lower third with this step; choose another "
                        "step, shorter words, or fewer seconds."
                    )
                    self.told_once(Fault(self.lesson.place(*at, "steps", name, "lower_third"), sentence, "step"))
                    return

    def told_once(self, fault: Fault) -> None:
        """Note a fault, unless one is told at its place."""
        if all(one.place != fault.place for one in self.faults):
            self.faults.append(fault)

    def line(self, request: Request, k: int, values: Values) -> str:
        """A line of a card's list."""
        text = request.keys.lines[k]  # type: ignore[attr-defined]
        return self.filled(text, values, ("clips", request.group, "lines", k), spoken=False)

    def rows(self, subject: Subject) -> tuple[tuple[str, ...], ...]:
        """The finished rows of a table of shots, the header first: a row a companion, the first cell left empty.

        Units stand in the header alone.
        """
        found = [dict(shot_values(c.shot)) for c in subject.companions if c.shot is not None]
        if not found:
            return ()
        cells = self.wording.table([[values[key] for key in COLUMNS] for values in found])
        names = self.wording.words["columns"]
        units = [unit for _, unit in cells[0]]
        header = [
            self.wording.filled(names[key], {"unit": unit}, spoken=False)
            for key, unit in zip(COLUMNS, units, strict=True)
        ]
        return (("", *header), *(("", *(number for number, _ in row)) for row in cells))

    def check_step_names(self) -> None:
        """Steps that a lesson words or chooses and that no clip has."""
        for at, known in self.steps_known.items():
            chosen: Any = self.keys
            for part in at:
                chosen = chosen[part] if isinstance(part, int) else getattr(chosen, part)
            names = {step_key(name) for name in known} | {f"{step_key(n)} {k}" for n in known for k in range(1, 9)}
            for i, group in enumerate(chosen):
                is_split = not isinstance(group, tuple)
                for name in (group,) if is_split else group:
                    told = ""
                    if step_key(name) not in names:
                        told = f"unknown step '{name[:40]}'{did_you_mean(name, sorted(known))}"
                        self.faults.append(Fault(self.lesson.place(*at, i), told, "unknown-name"))
                    elif step_key(name) in self.steps_built[at] or not (is_split or len(group) > 1):
                        continue
                    elif step_key(name) in map(step_key, known):
                        done = "split" if is_split else "joined with others"
                        told = f"step '{name}' can't be {done}: only steps of a construction can."
                        self.faults.append(Fault(self.lesson.place(*at, i), told, "step"))
                        break
        for at, request in self.emptied.items():
            if not self.faults:
                told = f"{request.name} has none of these steps; aimgeo plan lists the steps' names."
                self.faults.append(Fault(self.lesson.place(*at), told, "step"))
        for at, seen in self.steps_seen.items():
            keys: Any = self.keys
            for part in at:
                keys = keys[part] if isinstance(part, int) else getattr(keys, part)
            for name in keys.steps:
                if step_key(name) not in map(step_key, seen):
                    place = self.lesson.place_of_key(*at, "steps", name)
                    sentence = f"unknown step '{name}'{did_you_mean(name, sorted(seen))}"
                    self.faults.append(Fault(place, sentence, "unknown-name"))


def _eye_at(shot: Shot, eye_mm: Position) -> tuple[float, float, float]:
    """A camera's place as an eye: behind the cue ball, to the left of the aim line, above the cloth."""
    apart, way = np.array(eye_mm[:2]) - shot.cue_ball_mm[:2], shot.aim_direction
    return float(-apart @ way), float(apart @ left(way)), eye_mm[2]


def unmarked(text: str) -> str:
    """Words of the picture as a narration: a bracket in them is none of its marks."""
    return text.replace("[[", "[").replace("[", "[[").replace(NEXT, " ")


def roles_of(step: Step) -> tuple[str, ...]:
    """The roles of what a step draws."""
    return (*(c.role for c in step.circles), *(x.role for x in step.lines), *(p.role for p in step.points))


def shifted(one: Said, words: int) -> Said:
    """A clause that comes so many words later."""
    return replace(one, first=one.first + words, end=one.end + words)


def _key(name: str) -> str:
    return name.replace("-", "_")


def _left_name(request: Request, view: View, axes: Sequence[str] = tuple(AXES)) -> str:
    """A clip's name, with what of it on these axes is left out where it shows several shots."""
    if len(request.views) == 1:
        return request.name
    spans = [axis for axis in CLIP_KINDS[request.kind].spans if axis in axes]
    spanned = [str(getattr(view, axis)) for axis in spans if axis != "cut"]
    cut = [f"cut {view.cut.text}"] if "cut" in spans else []
    return f"{request.name}, {', '.join(cut + spanned)}"
