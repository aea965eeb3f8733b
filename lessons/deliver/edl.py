"""The edit decision list, CMX 3600: one event a clip, for programs that read no newer timeline."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Mapping
from pathlib import Path

from lessons.deliver import Delivered, Wishes
from lessons.deliver.changes import marks
from lessons.deliver.footage import Footage, has_sound, rate_text
from lessons.deliver.lists import chapter_list
from lessons.deliver.timecode import Timecode, source_of, timecode_of
from lessons.deliver.timeline import below
from lessons.deliver.writing import write_text
from lessons.rendering.deliveries import StepChange, recorded
from lessons.rendering.manifest import Clip

MOST_EVENTS = 999
MOST_SAID = 60
"""Letters of a change that a locator tells; the list of changes tells all."""


def edl_lines(
    title: str,
    placed: list[tuple[int, Clip]],
    timecode: Timecode,
    with_sound: frozenset[str],
    reels: Mapping[str, str],
    changed: Mapping[str, tuple[StepChange, ...]],
    chapters: Mapping[int, str],
) -> Iterator[str]:
    """The lines of one list. `placed`: each clip with its first frame on the timeline.

    `reels` and `changed` are by the clip's name: its reel, and what is new in it since the delivery before.
    `chapters` are by the frame on the timeline at which they start. A source is counted as its file does, the
    timeline as `timecode` says.
    """
    yield f"TITLE: {_ascii(title)[:70]}"
    yield f"FCM: {'DROP FRAME' if timecode.drop else 'NON-DROP FRAME'}"
    for number, (at, clip) in enumerate(placed, 1):
        start = timecode.start_frame + at
        channels = "B" if clip.name in with_sound else "V"
        source, first = source_of(clip, timecode), clip.handle_frames
        at_source = source.first_frame + first
        times = [source.timecode.name(frame) for frame in (at_source, at_source + clip.used_frames)]
        times += [timecode.name(frame) for frame in (start, start + clip.used_frames)]
        yield ""
        yield f"{number:03}  {reels[clip.name]} {channels:<5} C        " + " ".join(times)
        yield f"* FROM CLIP NAME: {_ascii(Path(clip.file).name)}"
        if number == 1 and timecode.count > 30:
            # behind the first event: readers take nothing but title and FCM before it
            yield (
                f"* NOTE: {rate_text(timecode.rate)} FRAMES A SECOND. CMX 3600 KNOWS NO SUCH TIMECODE; "
                f"FRAMES ARE COUNTED 00 TO {timecode.count - 1}."
            )
        if at in chapters:
            yield f"* LOC: {timecode.name(start)} GREEN   {_ascii(chapters[at])[:MOST_SAID]}"
        if (filmed := below(clip)) is not None:
            yield f"* FOOTAGE UNDER IT: {_ascii(filmed.name)} {times[0]}"
        for step in clip.steps:
            yield f"* LOC: {timecode.name(start + step.first_frame - first)} CYAN    {_ascii(step.name)}"
        for change in changed.get(clip.name, ()):
            said = f"CHANGED {change.step}: {change.says}" if change.step else f"CHANGED {change.says}"
            yield f"* LOC: {timecode.name(start + change.first_frame)} ORANGE  {_ascii(said)[:MOST_SAID]}"


PLAIN = str.maketrans(
    {"ß": "ss", "ẞ": "SS", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE", "ø": "o", "Ø": "O", "×": "x"}
    | dict.fromkeys("’‘‚", "'") | dict.fromkeys("“”„«»", '"') | dict.fromkeys("–—−", "-") | {"⁄": "/"}
    | {mark: f" {unicodedata.normalize('NFKD', mark)}" for mark in "¼½¾⅛⅜⅝⅞"}
)  # fmt: skip
"""What the form's letters can say of letters and signs that do not come apart."""


def _ascii(text: str) -> str:
    """The text in the only letters the form has: accents and what has no plain letter are left out.

    >>> _ascii("Größe: 1½ Bälle – „Stoß“ 30°")
    'Grosse: 1 1/2 Balle - "Stoss" 30'
    """
    plain = unicodedata.normalize("NFKD", text.translate(PLAIN)).translate(PLAIN)
    return " ".join(plain.encode("ascii", "ignore").decode("ascii").split())


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """<lesson>.edl; more than 999 clips go on in <lesson>_2.edl, since events have three digits."""
    timecode = timecode_of(footage.rate, wishes.non_drop)
    delivery = wishes.delivery or recorded(footage.manifest)
    found = marks(delivery)
    changed = {clip.name: found.get(clip.identity, ()) for clip in delivery.clips}
    reels = footage.reels(delivery)
    spoken = frozenset(clip.name for clip in footage.clips if has_sound(footage.path(clip)))
    chapters = dict(chapter_list(footage, wishes))
    files = []
    placed = list(footage.starts())
    told = (timecode, spoken, reels, changed, chapters)
    for k, first in enumerate(range(0, len(placed), MOST_EVENTS), 1):
        name = footage.identity + (f"_{k}" if k > 1 else "") + ".edl"
        # the form's own line end, which every reader of it accepts
        part = placed[first : first + MOST_EVENTS]
        text = "\r\n".join([*edl_lines(footage.title, part, *told), ""])
        files.append(write_text(footage.folder / name, text))
    return Delivered(tuple(files))
