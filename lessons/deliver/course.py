"""A course: its lessons one after the other as one timeline, with chapters, in the forms that a lesson has."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from lessons.deliver import Delivered, Wishes, edl, fcpxml, lists, timeline
from lessons.deliver.footage import Footage
from lessons.rendering.deliveries import Delivery, recorded
from lessons.rendering.manifest import About, Manifest, ManifestError

IDENTITY = "course"

Lesson = tuple[Footage, Wishes]


def deliver_course(folder: Path, lessons: Sequence[Lesson]) -> Delivered:
    """course.otio, .xml, .fcpxml, .edl, course_shots.csv and course_chapters.txt in the folder of the lessons'
    folders; nothing, and a sentence, when their rates differ.
    """
    whole, wishes = as_one(folder, lessons)
    try:
        whole.rate  # noqa: B018 - what is asked is whether there is one
    except ManifestError as error:
        return Delivered((), (f"no timeline of the course: {error} --rate gives lessons the same rate.",))
    done = [item.deliver(whole, wishes) for item in (timeline, fcpxml, edl, lists)]
    return Delivered(tuple(file for one in done for file in one.files))


def as_one(folder: Path, lessons: Sequence[Lesson]) -> Lesson:
    """The lessons' clips as those of one, each under its lesson's name and in its folder."""
    first, wishes = lessons[0]
    clips, delivered, changes = [], [], []
    titles: dict[str, str] = {}
    for footage, wished in lessons:
        within = footage.folder.relative_to(folder).as_posix()
        delivery = wished.delivery or recorded(footage.manifest)

        def named(name: str, lesson: str = footage.identity) -> str:
            return f"{lesson}_{name}"

        clips += [replace(c, name=named(c.name), file=f"{within}/{c.file}") for c in footage.clips]
        known = delivery.by_name()
        delivered += [replace(known[c.name], name=named(c.name), file=f"{within}/{c.file}") for c in footage.clips]
        changes += [replace(change, name=named(change.name)) for change in delivery.changes]
        titles |= {named(name): title for name, title in wished.titles.items()}
    words = first.wording()
    name = folder.resolve().name
    title = words.counted("review", "course", count=len(lessons), name=name)
    about = About(title, IDENTITY, "", first.language, first.manifest.lesson.units)
    whole = Footage(folder, Manifest(about, dict(first.made_with), tuple(clips)))
    told = Delivery(1, title, first.language, tuple(delivered), tuple(changes))
    return whole, replace(wishes, delivery=told, titles=titles, bundle=False, accuracy=())
