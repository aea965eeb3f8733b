"""FCPXML 1.9, the newer XML interchange form: relative addresses, a lasting uid for every file, step markers.

After its public reference: an address may be "a relative URL based on the location of the FCPXML document itself";
times are fractions of a second; a marker's start counts in its clip's own time.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from fractions import Fraction
from xml.etree import ElementTree as ET

from lessons.deliver import Delivered, Wishes
from lessons.deliver.changes import marks
from lessons.deliver.footage import Footage, has_sound
from lessons.deliver.lists import chapter_list
from lessons.deliver.timecode import source_of, timecode_of
from lessons.deliver.timeline import below
from lessons.deliver.writing import write_text
from lessons.planning.sound import RATES
from lessons.rendering.deliveries import recorded

VERSION = "1.9"
REC_709 = "1-1-1 (Rec. 709)"


def uid(identity: str) -> str:
    """A lasting identity in the form that the reference asks for: 32 hexadecimal digits."""
    return hashlib.sha256(identity.encode()).hexdigest()[:32].upper()


def seconds(frames: int, rate: Fraction) -> str:
    """Frames as the form writes a time.

    >>> seconds(30, Fraction(30000, 1001)), seconds(50, Fraction(25))
    ('30030/30000s', '50/25s')
    """
    return f"{frames * rate.denominator}/{rate.numerator}s" if frames else "0s"


def document(footage: Footage, wishes: Wishes, address: Callable[[str], str]) -> str:
    """The whole document; `address` gives a file's URL."""
    delivery = wishes.delivery or recorded(footage.manifest)
    known, changed = delivery.by_name(), marks(delivery)
    rate, timecode = footage.rate, timecode_of(footage.rate, wishes.non_drop)
    form = "DF" if timecode.drop else "NDF"
    root = ET.Element("fcpxml", version=VERSION)
    resources = ET.SubElement(root, "resources")
    sizes = dict.fromkeys((clip.width_px, clip.height_px) for clip in footage.clips)
    formats = {size: f"r{k}" for k, size in enumerate(sizes, 1)}
    for (width, height), name in formats.items():
        ET.SubElement(
            resources, "format", id=name, frameDuration=seconds(1, rate), width=str(width), height=str(height),
            colorSpace=REC_709,
        )  # fmt: skip
    event = ET.SubElement(ET.SubElement(root, "library"), "event", name=footage.title, uid=uid(footage.identity))
    project = ET.SubElement(event, "project", name=footage.title, uid=uid(f"{footage.identity}/timeline"))
    first = footage.clips[0]
    sequence = ET.SubElement(
        project, "sequence", format=formats[first.width_px, first.height_px],
        duration=seconds(footage.frames, rate), tcStart=seconds(timecode.start_frame, rate), tcFormat=form,
    )  # fmt: skip
    spine = ET.SubElement(sequence, "spine")
    chapters = dict(chapter_list(footage, wishes))
    grounds: dict[str, str] = {}
    for k, (at, clip) in enumerate(footage.starts(), 1):
        told, source = known[clip.name], source_of(clip, timecode).first_frame
        size = formats[clip.width_px, clip.height_px]
        asset = ET.SubElement(
            resources, "asset", id=f"a{k}", name=clip.name, uid=uid(told.identity), start=seconds(source, rate),
            duration=seconds(clip.frames, rate), hasVideo="1", format=size, videoSources="1",
        )  # fmt: skip
        if has_sound(footage.path(clip)):
            asset.attrib |= {
                "hasAudio": "1",
                "audioSources": "1",
                "audioChannels": "1",
                "audioRate": str(RATES[-1]),
            }
        ET.SubElement(asset, "media-rep", kind="original-media", src=address(clip.file))
        where, offset, lane = spine, timecode.start_frame + at, {}
        if (filmed := below(clip)) is not None:
            # the footage in the storyline, the clip connected above it; an offset counts in its own time
            if filmed.file not in grounds:
                grounds[filmed.file] = f"f{len(grounds) + 1}"
                ground = ET.SubElement(
                    resources, "asset", id=grounds[filmed.file], name=filmed.name,
                    uid=uid(f"{footage.identity}/{filmed.name}"), start=seconds(source, rate),
                    duration=seconds(clip.frames, rate), hasVideo="1", format=size, videoSources="1",
                )  # fmt: skip
                ET.SubElement(ground, "media-rep", kind="original-media", src=address(filmed.file))
            where = ET.SubElement(
                spine, "asset-clip", ref=grounds[filmed.file], offset=seconds(offset, rate),
                name=filmed.name, start=seconds(source, rate), duration=seconds(clip.used_frames, rate),
                format=size, tcFormat=form,
            )  # fmt: skip
            offset, lane = source, {"lane": "1"}
        laid = ET.SubElement(
            where, "asset-clip", lane, ref=f"a{k}", offset=seconds(offset, rate), name=clip.name,
            start=seconds(source + clip.handle_frames, rate), duration=seconds(clip.used_frames, rate),
            format=size, tcFormat=form,
        )  # fmt: skip
        if at in chapters:
            start = seconds(source + clip.handle_frames, rate)
            ET.SubElement(laid, "chapter-marker", start=start, duration=seconds(1, rate), value=chapters[at])
        for step in clip.steps:
            said = {"note": step.narration} if step.narration else {}
            start = seconds(source + step.first_frame, rate)
            mark = {"start": start, "duration": seconds(1, rate), "value": step.name}
            ET.SubElement(laid, "marker", mark | said)
        for change in changed.get(told.identity, ()):
            start = seconds(source + clip.handle_frames + change.first_frame, rate)
            says = f"{change.step}: {change.says}" if change.step else change.says
            # "completed" makes a marker one that waits to be done
            ET.SubElement(
                laid, "marker", start=start, duration=seconds(1, rate), value="changed", completed="0", note=says
            )
    ET.indent(root)
    head = '<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE fcpxml>\n'
    return head + ET.tostring(root, encoding="unicode") + "\n"


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """<lesson>.fcpxml."""
    path = footage.folder / f"{footage.identity}.fcpxml"
    return Delivered((write_text(path, document(footage, wishes, footage.address(wishes.absolute))),))
