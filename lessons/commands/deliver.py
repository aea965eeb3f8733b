"""aimgeo deliver: everything that goes with rendered clips, made from their manifest."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import click

from lessons.deliver import DELIVERIES, OwnWishes, Wishes, review_page
from lessons.deliver.changes import Log, clear_leftovers, compared, files_by_clip, summary, write_changes
from lessons.deliver.conform import conform as conform_timeline
from lessons.deliver.course import deliver_course
from lessons.deliver.footage import Footage, disagreements, read_footage
from lessons.deliver.student import deliver_student
from lessons.deliver.timecode import Timecode, timecode_of
from lessons.files import lesson_files
from lessons.lesson.faults import LessonError
from lessons.lesson.model import Lesson, load, with_output
from lessons.lesson.own import own_words
from lessons.planning.accuracy import accuracy
from lessons.planning.lengths import Lengths, known, lengths_path, read_lengths, shows, write_lengths
from lessons.planning.plan import plan
from lessons.planning.planned import Plan
from lessons.rendering.cache import clip_key, spoken_digest
from lessons.rendering.deliveries import forget_earlier, last_delivery, read_delivery, write_delivery
from lessons.rendering.folder import FolderError, locked, read_record, sweep
from lessons.rendering.manifest import FILE_NAME, ManifestError
from lessons.rendering.verdicts import FINE, Verdict, differences, read_verdicts, verdict_of
from scenes.files import whole_name


@click.command()
@click.argument("lessons", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="The folder that holds the clips.")
@click.option("--non-drop", is_flag=True, help="At 29.97, number the frames without leaving any number out.")
@click.option("--bundle", is_flag=True, help="Also write an .otioz: the timeline with the clips inside.")
@click.option(
    "--frames", is_flag=True, help="Also write every picture as a PNG file, of clips in the form png-alpha."
)
@click.option("--previews", is_flag=True, help="Also write a short moving picture (GIF) of each clip.")
@click.option("--absolute", is_flag=True, help="Whole paths in the timelines, for programs that want them.")
@click.option(
    "--proxies", is_flag=True, help="Also write small films of the same names, frames and timecode, to cut with."
)
@click.option("--burn-captions", "burned", is_flag=True, help="Also write the clips with captions in the picture.")
@click.option(
    "--student",
    is_flag=True,
    help="Also write a folder for students: films, captions, sheets, and a page that plays them without the net.",
)
@click.option("--metadata", is_flag=True, help="Also write an XMP file beside each clip, for an editor's bins.")
@click.option(
    "--loudness",
    "lufs",
    type=click.FloatRange(-40, -9),
    metavar="LUFS",
    help="Bring the narration to this loudness, in the rough cut and as WAV files: -23 as EBU R 128 asks, -14 as "
    "video platforms play (common practice). The clips stay as they are.",
)
@click.option(
    "--since",
    type=click.IntRange(1),
    metavar="NUMBER",
    help="Tell what changed since this delivery, not the last.",
)
@click.option(
    "--fine",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="LIST",
    help="Only the clips that a list exported from the review page calls fine, as they are now.",
)
@click.option(
    "--conform",
    type=click.Path(path_type=Path),
    metavar="TIMELINE",
    help="An edited .otio: in a copy of it, this lesson's clips are brought up to date.",
)
def command(
    lessons: tuple[Path, ...],
    out: Path,
    non_drop: bool,
    bundle: bool,
    frames: bool,
    previews: bool,
    absolute: bool,
    proxies: bool,
    burned: bool,
    student: bool,
    metadata: bool,
    lufs: float | None,
    since: int | None,
    fine: tuple[Path, ...],
    conform: Path | None,
) -> None:
    """Write timelines, captions, pictures, sheets and the review page for lessons' clips, without rendering.

    Several lessons have a folder each inside --out, by their identity, and get one review page and one timeline
    for all.

    \b
    aimgeo deliver cuts.yaml --out clips/cuts
    aimgeo deliver lessons/ --out clips
    """
    files = lesson_files(lessons)
    if conform is not None and len(files) > 1:
        raise click.UsageError("--conform takes one lesson at a time; conform the copy again with the next one.")
    wishes = Wishes(non_drop, bundle, frames, previews, absolute, proxies, burned, metadata, lufs)
    verdicts = _verdicts(fine)
    done = [_deliver(path, out, len(files) > 1, wishes, since, conform, verdicts) for path in files]
    course = [lesson for lesson in done if lesson is not None]
    if len(course) > 1 or (course and student):
        try:
            with locked(out):
                sweep(out)
                for warning in _for_all(out, course, student):
                    click.echo(f"warning: {warning}", err=True)
        except FolderError as error:
            raise click.ClickException(str(error)) from None
        except OSError as error:
            raise click.ClickException(_no_room(error, out)) from None
    sys.exit(0 if len(course) == len(done) else 1)


def _for_all(out: Path, course: Sequence[Delivered], student: bool) -> Iterator[str]:
    """Write what lessons have together; sentences about what deserves a second look."""
    if len(course) > 1:
        page = review_page.deliver_course(out, [(footage, wished.accuracy) for footage, wished in course])
        click.echo(f"A review page for {len(course)} lessons: {page}.")
        whole = deliver_course(out, course)
        if whole.files:
            click.echo(f"One timeline of them with chapters: {whole.files[0]} and {len(whole.files) - 1} more.")
        yield from whole.warnings
    if student:
        package = deliver_student(out, course)
        if package.files:
            click.echo(f"For students: {package.files[0]} and {len(package.files) - 1} files more.")
        yield from package.warnings


def _no_room(error: OSError, out: Path) -> str:
    reason = (error.strerror or str(error)).lower()
    return f"{whole_name(str(error.filename or out))}: cannot be written: {reason}; make room or access."


def own_wishes(lesson: Lesson, made: Plan) -> OwnWishes:
    """The lesson's own methods with their words; they look from its first eye."""
    eye = next(iter(made.eyes.values()))
    at = (eye["back_mm"], eye.get("offset_mm", 0.0), eye["height_mm"])
    methods = {own.name: own.method(at) for own in made.own}
    words = own_words(made.words.words, lesson.keys.own_methods, lesson.own, made.language)
    return OwnWishes(methods, words)


OF_THE_LESSON = ("shot", "subject", "words", "timing", "theme", "sound")
"""The parts of a clip's key that a lesson decides; the rest is the machine's."""

Delivered = tuple[Footage, Wishes]


def _verdicts(lists: Sequence[Path]) -> tuple[Verdict, ...] | None:
    """What the lists say, differences told; None without a list."""
    try:
        found = read_verdicts(lists)
    except ManifestError as error:
        raise click.ClickException(str(error)) from None
    for sentence in differences(found):
        click.echo(sentence)
    return found if lists else None


def _deliver(
    path: Path,
    out: Path,
    is_one_of_many: bool,
    wishes: Wishes,
    since: int | None,
    edited: Path | None,
    verdicts: Sequence[Verdict] | None,
) -> Delivered | None:
    """Write what goes with a lesson: its footage and what was wished; None when it can't be, which is told."""
    try:
        loaded = load(path)
        folder = out / loaded.identity if is_one_of_many else folder_of(out, loaded.identity)
        everything = footage = read_footage(folder)
        made = plan(loaded, language=footage.language)
        if not has_frame(made, footage):
            drafted = plan(loaded, draft=True, language=footage.language)
            asked = plan(with_output_of(loaded, footage), language=footage.language)
            made = next((one for one in (drafted, asked) if has_frame(one, footage)), made)
        if footage.identity != made.identity:
            raise ManifestError(
                f"{footage.folder}: these are the clips of lesson '{footage.identity}', not '{made.identity}'; "
                "name the folder of this lesson's clips with --out."
            )
        titles = {c.name: " ".join(c.brief.labels.get("title", "").split()) for c in made.clips}
        wishes = replace(
            wishes, accuracy=accuracy(made).rows, titles=titles, own=own_wishes(loaded, made), preview=made.preview
        )
        with locked(folder):
            sweep(folder)
            if wrong := list(disagreements(footage)):
                raise ManifestError("\n".join([*wrong, "Nothing was written."]))
            if verdicts is not None:
                footage = only_fine(footage, verdicts)
                click.echo(f"{'fine':<14} {len(footage.clips)} of {len(everything.clips)} clips")
            warnings = left(made.file, {clip.name for clip in made.clips}, everything)
            warnings += older(made, everything)
            last = last_delivery(folder)
            log = compared(footage, last, read_delivery(folder, since) if since else last)
            wishes = replace(wishes, delivery=log.delivery)
            written, said = write_all(footage, wishes, everything)
            if loaded.keys.output.lengths == "locked":
                lock_lengths(loaded, everything)
            warnings += said + keep_record(footage, log, written, timecode_of(footage.rate, wishes.non_drop))
            if edited is not None:
                conformed = conform_timeline(edited, footage, wishes)
                click.echo(f"{'conform':<14} {conformed.replaced} cuts were replaced: {conformed.path}")
                warnings += conformed.said
    except (LessonError, ManifestError, FolderError) as error:
        click.echo(error.told() if isinstance(error, LessonError) else str(error), err=True)
        return None
    except OSError as error:
        click.echo(_no_room(error, out), err=True)
        return None
    click.echo(f"All of it is in {folder}.")
    for warning in dict.fromkeys(warnings):  # clips of one sentence are told once
        click.echo(f"warning: {warning}", err=True)
    return footage, wishes


def has_frame(made: Plan, footage: Footage) -> bool:
    """True when the clips have the size and rate that this plan gives, be it a draft's."""
    frames = {(clip.width_px, clip.height_px, clip.rate) for clip in footage.clips}
    outputs = {clip.brief.output for clip in made.clips}
    return frames <= {(o.width_px, o.height_px, Fraction(*o.rate)) for o in outputs}


def with_output_of(lesson: Lesson, footage: Footage) -> Lesson:
    """The lesson at the size and rate of its clips, which `render --size --rate` may have given them."""
    clip = next((clip for clip in footage.clips if clip.kind != "on-footage"), footage.clips[0])
    return with_output(lesson, (clip.width_px, clip.height_px), (clip.rate.numerator, clip.rate.denominator))


def folder_of(out: Path, identity: str) -> Path:
    """The lesson's folder: `out`, or the one of its name inside, where a batch of lessons puts it."""
    return out if (out / FILE_NAME).exists() or not (out / identity / FILE_NAME).exists() else out / identity


def left(file: str, planned: set[str], footage: Footage) -> list[str]:
    """A sentence when the lesson and the folder name different clips."""
    rendered = {clip.name for clip in footage.clips}
    said = []
    if missing := sorted(planned - rendered):
        said.append(f"{file}: {_clips(len(missing), 'not rendered yet', missing[0])}; run aimgeo render.")
    if extra := sorted(rendered - planned):
        said.append(f"{file}: {_clips(len(extra), 'rendered and no longer in it', extra[0])}; run aimgeo render.")
    return said


def _clips(count: int, what: str, one: str) -> str:
    return f"1 clip is {what} ({one})" if count == 1 else f"{count} clips are {what} ({one} is one)"


def older(made: Plan, footage: Footage) -> Iterator[str]:
    """A sentence when the lesson says something else than its clips do, by the folder's record of them."""
    record = read_record(footage.folder)
    titled = made.title != footage.title
    names = []
    for clip in made.clips:
        known = record.get(clip.name)
        if known is None:
            continue
        form, _, encoder = known.key.parts.get("encoder", "").partition(" ")
        now = clip_key(clip, form, encoder).parts
        differs = any(known.key.parts.get(part) != now[part] for part in OF_THE_LESSON)
        if differs or known.spoken != spoken_digest(clip.brief):
            names.append(clip.name)
    if names or titled:
        what = _clips(len(names), "older than the lesson", names[0]) if names else "its title changed"
        yield f"{made.file}: {what}; run aimgeo render, then deliver again."


def only_fine(footage: Footage, verdicts: Sequence[Verdict]) -> Footage:
    """The footage with those clips alone that are called fine as they are now; ManifestError when none is."""
    found = ((clip, verdict_of(verdicts, footage.identity, clip)) for clip in footage.clips)
    fine = tuple(clip for clip, verdict in found if verdict is not None and verdict.verdict == FINE)
    if not fine:
        raise ManifestError(f"{footage.folder}: the lists call no clip fine as it is now; nothing was written.")
    return replace(footage, manifest=replace(footage.manifest, clips=fine))


OF_EVERY_CLIP = ("pictures", "review page")
"""What holds clips that are not fine yet too: there they are looked at."""


def write_all(footage: Footage, wishes: Wishes, everything: Footage) -> tuple[list[Path], list[str]]:
    """Write every delivery, telling each as it is done; the files, and the warnings that came up."""
    files: list[Path] = []
    warnings: list[str] = []
    for name, delivery in DELIVERIES.items():
        done = delivery.load().deliver(everything if name in OF_EVERY_CLIP else footage, wishes)
        files += done.files
        warnings += done.warnings
        if done.files:
            first = done.files[0].relative_to(footage.folder).as_posix()
            more = f" and {len(done.files) - 1} more" if len(done.files) > 1 else ""
            click.echo(f"{name:<14} {delivery.says}: {first}{more}")
    return files, warnings


def lock_lengths(lesson: Lesson, footage: Footage) -> None:
    """Write the clips' lengths beside the lesson; those that are locked already stay as they are."""
    path = lengths_path(lesson.file, footage.language, lesson.keys.language[0])
    before = known(footage.clips, [clip.name for clip in footage.clips], read_lengths(path))
    now = {
        clip.name: before.get(clip.name)
        or Lengths(
            shows(clip),
            (clip.rate.numerator, clip.rate.denominator),
            {step.name: step.end_frame - step.first_frame for step in clip.steps},
        )
        for clip in footage.clips
    }
    write_lengths(path, now)
    click.echo(f"{'lengths':<14} {len(now)} clips are locked: {path.as_posix()}")


def keep_record(footage: Footage, log: Log, written: list[Path], timecode: Timecode) -> list[str]:
    """Write the list of changes and this delivery's record; sentences about what gone clips leave."""
    folder = footage.folder
    if log.before is not None:
        click.echo(summary(log.before, log.delivery, log.compared))
        if log.compared and log.is_to_write:
            told = replace(log.delivery, changes=log.compared)
            files = write_changes(folder, log.before, told, log.pictures, timecode)
            click.echo(f"{'changes':<14} text, CSV and a page: {files[0].relative_to(folder).as_posix()} and more")
    said = list(clear_leftovers(footage, log, written))
    if log.is_new:
        write_delivery(folder, replace(log.delivery, files=files_by_clip(footage, written)))
        forget_earlier(folder)
    return said
