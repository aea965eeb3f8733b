"""The student's package: films, captions, charts, sheets in a folder, with a page that plays them from it."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from lessons.deliver import Delivered, Wishes
from lessons.deliver.captions import lesson_captions
from lessons.deliver.footage import Footage, has_sound
from lessons.deliver.lists import chapter_list, clock
from lessons.deliver.review_page import digest
from lessons.deliver.rough_cut import cut_path, why_not
from lessons.deliver.writing import whole_file, write_text
from lessons.lesson.wording import words_of

FOLDER = "student"
TEMPLATES = Path(__file__).parent / "templates"
SHEETS = ("set-up", "aim-chart")

Lesson = tuple[Footage, Wishes]


def deliver_student(folder: Path, lessons: Sequence[Lesson]) -> Delivered:
    """student/ in a folder: index.html, and the lessons' films, captions, posters and sheets beside it.

    A lesson without a rough cut that a browser plays is left out, and told.
    """
    out = folder / FOLDER
    files: list[Path] = []
    warnings: list[str] = []
    told: list[dict[str, Any]] = []
    for footage, wishes in lessons:
        film = cut_path(footage)
        if why_not(footage) or film.suffix != ".mp4" or not film.is_file():
            warnings.append(f"{footage.identity}: no film for students: it has no rough cut as MP4.")
            continue
        name = f"{len(told) + 1:02}_{footage.identity}"
        copied = dict(_copied(footage, film, out, name))
        files += copied.values()
        paths = {key: path.relative_to(out).as_posix() for key, path in copied.items()}
        told.append(_told(footage, wishes, paths))
    if not told:
        return Delivered((), tuple(warnings))
    _remove_others(out, files)
    first, count = lessons[0][0], len(lessons)
    name = folder.resolve().name
    title = first.title if count == 1 else first.wording().counted("review", "course", count=count, name=name)
    page = write_text(out / "index.html", _page(title, first, told))
    return Delivered((page, *files), tuple(warnings))


def _copied(footage: Footage, film: Path, out: Path, name: str) -> Iterator[tuple[str, Path]]:
    """The lesson's files in the package, each by what it is."""
    yield "film", _copy(film, out / "films" / f"{name}.mp4")
    yield "poster", _copy(footage.folder / f"{footage.identity}.jpg", out / "films" / f"{name}.jpg")
    for language in (footage.language, *footage.translations):
        mark = "" if language == footage.language else f".{language}"
        captions = footage.folder / f"{footage.identity}{mark}.vtt"
        if captions.is_file():
            yield f"captions.{language}", _copy(captions, out / "captions" / f"{name}.{language}.vtt")
    for sheet in sorted((footage.folder / "sheets").glob("*.pdf")):
        if sheet.name.startswith(SHEETS):
            yield f"sheet.{sheet.stem}", _copy(sheet, out / "sheets" / f"{name}_{sheet.name}")


def _copy(source: Path, path: Path) -> Path:
    """A file under another name: a second name of it where the disk has such."""
    if path.exists() and path.samefile(source):
        return path
    with whole_file(path) as part:
        try:
            os.link(source, part)
        except OSError:
            shutil.copyfile(source, part)
    return path


def _remove_others(out: Path, files: Sequence[Path]) -> None:
    """Remove films, captions and sheets of an earlier package that this one does not have."""
    kept = set(files)
    for name in ("films", "captions", "sheets"):
        for path in (out / name).glob("*.*"):
            if path not in kept:
                path.unlink()


def _told(footage: Footage, wishes: Wishes, paths: Mapping[str, str]) -> dict[str, Any]:
    """What the page shows of a lesson."""
    words = footage.wording().words["student"]
    rate = footage.rate
    languages = [None, *footage.translations]
    tracks = [
        {
            "language": language or footage.language,
            "label": words_of(language or footage.language)["language"]["name"],
            "cues": [
                [float(c.first_frame / rate), float(c.end_frame / rate), "\n".join(c.lines)]
                for c in lesson_captions(footage, language)
            ],
        }
        for language in languages
    ]
    sheets = []
    for key, path in paths.items():
        if key.startswith("sheet."):
            what, _, paper = key.removeprefix("sheet.").rpartition("_")
            kind, _, method = what.partition("_")
            title = words["set_up"] if kind == "set-up" else f"{words['aim_chart']}: {method.replace('-', ' ')}"
            size = paper.upper() if paper == "a4" else paper.title()
            sheets.append({"title": title, "paper": size, "path": path})
    first = footage.clips[0]
    return {
        "title": footage.title,
        "film": paths["film"],
        "poster": paths["poster"],
        "length": clock(footage.frames, rate),
        "size": (first.width_px, first.height_px),
        "chapters": [(clock(at, rate), float(at / rate), title) for at, title in chapter_list(footage, wishes)],
        "sheets": sheets,
        "tracks": [track for track in tracks if track["cues"]],
        "spoken": any(has_sound(footage.path(clip)) for clip in footage.clips),
    }


def _page(title: str, footage: Footage, lessons: list[dict[str, Any]]) -> str:
    """The page's text: everything from a lesson is escaped, script and style run by their digests alone."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    style, script = ((TEMPLATES / f"student.{kind}").read_text("utf-8") for kind in ("css", "js"))
    policy = "; ".join(
        [
            "default-src 'none'", "img-src 'self' file:", "media-src 'self' file:",
            f"style-src '{digest(style)}'", f"script-src '{digest(script)}'",
            "base-uri 'none'", "form-action 'none'",
        ]
    )  # fmt: skip
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    return environment.get_template("student.html").render(
        title=title,
        language=footage.language,
        words=footage.wording().words["student"],
        policy=policy,
        style=Markup(style),
        script=Markup(script),
        lessons=lessons,
        told=[{"tracks": one["tracks"], "spoken": one["spoken"]} for one in lessons],
    )
