"""Render: draw the clips of a plan that are new or changed, and leave the folder and its manifest whole.

Several lessons are one batch, each with its own folder. What is finished is on the disk under its name and in the
folder's record at once, so that a run that is stopped in any way is taken up by the next one.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass, field, replace
from fnmatch import fnmatchcase
from pathlib import Path

from lessons.planning.planned import Plan, PlannedClip
from lessons.rendering import manifest
from lessons.rendering.cache import Key, clip_key, digest, spoken_digest
from lessons.rendering.deliveries import delivered_sha256, keep_earlier, reels
from lessons.rendering.folder import (
    Finished,
    append_record,
    fault,
    locked,
    read_record,
    record_time_ns,
    sweep,
    write_record,
)
from lessons.rendering.manifest import Drawn
from lessons.rendering.reasons import Cause, Reason, changes
from lessons.rendering.workers import Failed, Report, Task, Wrote, draw_all
from scenes.files import drop, part_path
from scenes.film.forms import FORMS

Draw = Callable[[Sequence[Task], int], Iterator[Report]]


@dataclass(frozen=True, slots=True)
class Target:
    """A lesson's plan and the folder that its clips go to."""

    plan: Plan
    folder: Path


@dataclass(frozen=True, slots=True)
class Settings:
    """How to render: the form's name, clip-name patterns (none: all), worker processes, and what else to do."""

    form: str = "h264"
    only: tuple[str, ...] = ()
    workers: int = 0
    prune: bool = False
    verify: bool = False


@dataclass(frozen=True, slots=True)
class Survey:
    """What a folder lacks: why each clip will be drawn, which earlier clip serves under another name, the rest.

    `reasons`, `keys` and `served_by` are by clip name; `record` holds the finished clips whose files are sound;
    `forgotten` are the names of clips in the record that the lesson no longer has.
    """

    keys: Mapping[str, Key]
    reasons: Mapping[str, Reason]
    served_by: Mapping[str, str]
    record: Mapping[str, Finished]
    forgotten: tuple[str, ...]


@dataclass
class Outcome:
    """What a run came to. `failures` are clips with their sentences; `forgotten` are files of no lesson.

    `frames` and `pixels` are those of the rendered clips; `waiting` clips were not tried.
    """

    rendered: int = 0
    frames: int = 0
    pixels: int = 0
    unchanged: int = 0
    reused: int = 0
    failures: list[tuple[PlannedClip, str]] = field(default_factory=list)
    forgotten: list[Path] = field(default_factory=list)
    pruned: int = 0
    waiting: int = 0


def reasons(plan: Plan, folder: Path, form: str = "h264", verify: bool = False) -> dict[str, Reason]:
    """Why each clip of the plan would be rendered into the folder, by name; clips that are there are left out.

    Reads the folder and changes nothing.
    """
    return dict(survey(Target(plan, folder), form, verify).reasons)


def survey(target: Target, form: str = "h264", verify: bool = False) -> Survey:
    """Compare a plan with what lies in its folder."""
    keys = {
        clip.name: clip_key(clip, clip.form(form), digest(FORMS[clip.form(form)])) for clip in target.plan.clips
    }
    record = read_record(target.folder)
    time_ns = record_time_ns(target.folder)
    faults = {name: fault(target.folder, one, time_ns, verify) for name, one in record.items()}
    sound = {name: one for name, one in record.items() if not faults[name]}
    by_key = {one.key.digest: name for name, one in sound.items()}
    why: dict[str, Reason] = {}
    served_by: dict[str, str] = {}
    for clip in target.plan.clips:
        key, old = keys[clip.name], record.get(clip.name)
        reason = Reason(Cause.NEW) if old is None else changes(old.key, key) or faults[clip.name]
        if old is not None and not reason and old.file != clip.name + FORMS[clip.form(form)].extension:
            reason = Reason(Cause.FORM)
        if reason and key.digest in by_key:
            served_by[clip.name] = by_key[key.digest]
        elif reason:
            why[clip.name] = reason
    return Survey(keys, why, served_by, sound, tuple(sorted(record.keys() - keys.keys())))


def render(
    targets: Sequence[Target],
    settings: Settings = Settings(),
    watch: Callable[[Report | Sequence[Task]], None] = lambda _: None,
    draw: Draw = draw_all,
) -> Outcome:
    """Render a batch. `watch` is told the tasks first, then everything that happens.

    Raises FolderError when a folder cannot be used, OSError when the record or the manifest cannot be written.
    KeyboardInterrupt passes through; what is finished by then is kept.
    """
    outcome = Outcome()
    with ExitStack() as held:
        for target in targets:
            held.enter_context(locked(target.folder))
            sweep(target.folder)
        rooms = [_Room(target, survey(target, settings.form, settings.verify), settings) for target in targets]
        for room in rooms:
            held.callback(room.settle)
        tasks, same = _tasks(rooms, outcome)
        watch(tasks)
        outcome.waiting = len(tasks)
        if tasks:
            with closing(draw(tasks, settings.workers or processors())) as reports:  # type: ignore[type-var]
                for report in reports:
                    if isinstance(report, Wrote):
                        _take(report, same[report.task.part], outcome)
                    elif isinstance(report, Failed):
                        outcome.failures.append((report.task.clip, report.sentence))
                        outcome.waiting -= 1
                    watch(report)
        for room in rooms:
            room.forget(outcome)
    return outcome


def processors() -> int:
    """Processors that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class _Room:
    """A folder being filled: its record stays true to the files in it."""

    def __init__(self, target: Target, found: Survey, settings: Settings) -> None:
        self.folder, self.plan = target.folder, target.plan
        self.found, self.settings = found, settings
        self.finished = dict(found.record)
        self.asked_for = [c for c in target.plan.clips if _is_asked_for(c, settings.only)]
        self.delivered = delivered_sha256(target.folder)
        self.reels = reels(target.folder, target.plan.identity, target.plan.clips)

    def file(self, clip: PlannedClip) -> str:
        return clip.name + FORMS[clip.form(self.settings.form)].extension

    def enter(self, clip: PlannedClip, part: Path, size: int, sha256: str, drawn: Drawn) -> None:
        """Record a clip whose file is whole, then give the file its name."""
        file = self.file(clip)
        entry = manifest.clip_told(clip, file, sha256, drawn, self.plan.language, self.folder)
        finished = Finished(size, self.found.keys[clip.name], spoken_digest(clip.brief), entry)
        try:
            self.keep(self.finished.get(clip.name))
            append_record(self.folder, finished)
            os.replace(part, self.folder / file)
        except BaseException:
            drop(part)
            raise
        self.finished[clip.name] = finished

    def keep(self, old: Finished | None) -> None:
        """Keep what was delivered before its file is replaced or removed: the list of changes looks at it."""
        if old is not None and old.sha256 in self.delivered:
            keep_earlier(self.folder, old.file, old.sha256)

    def serve(self, clip: PlannedClip, like: Finished, source: Path) -> None:
        """Enter a clip whose picture exists already under another name."""
        part = part_path(self.folder / self.file(clip))
        try:
            os.link(source, part)
        except OSError:
            shutil.copyfile(source, part)
        self.enter(clip, part, like.size, like.sha256, _drawn(clip, like))

    def refresh(self) -> None:
        """Bring the entries of unchanged clips up to date with what only the manifest tells."""
        for clip in self.plan.clips:
            old = self.finished.get(clip.name)
            if old is None or clip.name in self.found.reasons or clip.name in self.found.served_by:
                continue
            entry = manifest.clip_told(
                clip, old.file, old.sha256, _drawn(clip, old), self.plan.language, self.folder
            )
            if entry != old.entry:
                self.finished[clip.name] = replace(old, entry=entry, spoken=spoken_digest(clip.brief))

    def settle(self) -> None:
        """Write the record in the lesson's order, and the manifest."""
        order = [c.name for c in self.plan.clips]
        rest = sorted(self.finished.keys() - set(order))
        write_record(self.folder, [self.finished[n] for n in [*order, *rest] if n in self.finished])
        clips = [self.finished[name].entry for name in order if name in self.finished]
        manifest.write_manifest(self.folder, self.plan, clips)

    def forget(self, outcome: Outcome) -> None:
        """List the files that no lesson names any more, and remove them if that is asked for."""
        kept = {one.file for name, one in self.finished.items() if name not in self.found.forgotten}
        for name in self.found.forgotten:
            one = self.finished.get(name)
            if one is None or one.file in kept:
                continue
            if self.settings.prune:
                self.keep(one)
                (self.folder / one.file).unlink(missing_ok=True)
                del self.finished[name]
                outcome.pruned += 1
            else:
                outcome.forgotten.append(self.folder / one.file)


def _is_asked_for(clip: PlannedClip, only: Sequence[str]) -> bool:
    return not only or any(fnmatchcase(clip.name, pattern) for pattern in only)


def _drawn(clip: PlannedClip, like: Finished) -> Drawn:
    """What is told about a picture that is drawn already, with this clip's words."""
    if spoken_digest(clip.brief) == like.spoken:
        return Drawn(like.entry.steps, like.entry.still, like.entry.reel, like.entry.rolls)
    from scenes.kinds import CLIP_KINDS

    board = CLIP_KINDS[clip.kind].board(clip.brief)
    return Drawn(manifest.steps(board), like.entry.still, like.entry.reel, like.entry.rolls)


def _tasks(
    rooms: Sequence[_Room], outcome: Outcome
) -> tuple[list[Task], dict[Path, list[tuple[_Room, PlannedClip]]]]:
    """What is to be drawn: one task for each picture, and all the clips that it is for, by its unfinished file."""
    tasks: list[Task] = []
    same: dict[Path, list[tuple[_Room, PlannedClip]]] = {}
    first: dict[str, Path] = {}
    for room in rooms:
        room.refresh()
        for clip in room.asked_for:
            if clip.name in room.found.served_by:
                like = room.found.record[room.found.served_by[clip.name]]
                room.serve(clip, like, room.folder / like.file)
                outcome.reused += 1
            elif clip.name in room.found.reasons:
                key = room.found.keys[clip.name].digest
                part = first.setdefault(key, part_path(room.folder / room.file(clip)))
                if part not in same:
                    tasks.append(Task(clip, part, clip.form(room.settings.form), room.reels[clip.name]))
                same.setdefault(part, []).append((room, clip))
            else:
                outcome.unchanged += 1
    # the longest first, so that no worker is left alone with a long one at the end
    return sorted(tasks, key=lambda task: -task.clip.frames), same


def _take(report: Wrote, wanted: Sequence[tuple[_Room, PlannedClip]], outcome: Outcome) -> None:
    """A picture is whole: it goes under the names of all the clips that it is for."""
    room, clip = wanted[0]
    room.enter(clip, report.task.part, report.size, report.sha256, report.drawn)
    for other, twin in wanted[1:]:
        other.serve(twin, room.finished[clip.name], room.folder / room.file(clip))
        outcome.reused += 1
    outcome.rendered += 1
    outcome.frames += clip.frames
    outcome.pixels += clip.frames * clip.brief.output.width_px * clip.brief.output.height_px
    outcome.waiting -= 1
