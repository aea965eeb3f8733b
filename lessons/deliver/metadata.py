"""Metadata beside the clips: an XMP file each, for an editor's bins. Names after the XMP specification, part 2."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree as ET

from lessons.deliver import Delivered, Wishes
from lessons.deliver.footage import Footage
from lessons.deliver.lists import titled
from lessons.deliver.pictures import about
from lessons.deliver.timecode import source_of, timecode_of
from lessons.deliver.writing import write_text
from lessons.rendering.deliveries import ClipDelivered, recorded
from lessons.rendering.manifest import Clip

SPACES = {
    "x": "adobe:ns:meta/",
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "dc": "http://purl.org/dc/elements/1.1/",
    "xmpDM": "http://ns.adobe.com/xmp/1.0/DynamicMedia/",
    "aimgeo": "urn:aimgeo:clip:1",
}


def deliver(footage: Footage, wishes: Wishes) -> Delivered:
    """<clip>.xmp beside every clip, when they are wished for."""
    if not wishes.metadata:
        return Delivered(())
    delivery = wishes.delivery or recorded(footage.manifest)
    known, reels = delivery.by_name(), footage.reels(delivery)
    return Delivered(
        tuple(
            write_text(
                footage.folder / f"{Path(clip.file).stem}.xmp",
                document(footage, clip, known[clip.name], reels[clip.name], wishes.titles.get(clip.name)),
            )
            for clip in footage.clips
        )
    )


def document(footage: Footage, clip: Clip, told: ClipDelivered, reel: str, card: str | None) -> str:
    """A clip's file: title, words, shot, method, cut, reel and first timecode. A quiz keeps its cut to itself."""
    for prefix, space in SPACES.items():
        ET.register_namespace(prefix, space)
    root = ET.Element(_name("x", "xmpmeta"))
    about_it = ET.SubElement(ET.SubElement(root, _name("rdf", "RDF")), _name("rdf", "Description"))
    about_it.attrib[_name("rdf", "about")] = ""
    wording = footage.wording()
    title = card or titled(clip, wording)
    words = " ".join(step.narration for step in clip.steps if step.narration)
    for key, text in (("title", title), ("description", words)):
        if text:
            alternatives = ET.SubElement(ET.SubElement(about_it, _name("dc", key)), _name("rdf", "Alt"))
            item = ET.SubElement(alternatives, _name("rdf", "li"), {"xml:lang": "x-default"})
            item.text = text
    for (prefix, key), text in _facts(footage, clip, told, reel, about(clip, wording)):
        ET.SubElement(about_it, _name(prefix, key)).text = text
    ET.indent(root)
    return ET.tostring(root, encoding="unicode") + "\n"


def _facts(
    footage: Footage, clip: Clip, told: ClipDelivered, reel: str, shown: str
) -> Iterator[tuple[tuple[str, str], str]]:
    source = source_of(clip, timecode_of(clip.rate, non_drop=False))
    yield ("dc", "identifier"), told.identity
    yield ("xmpDM", "scene"), footage.title
    yield ("xmpDM", "shotName"), clip.name
    yield ("xmpDM", "tapeName"), reel
    yield ("xmpDM", "logComment"), shown
    yield ("aimgeo", "timecode"), source.timecode.name(source.first_frame)
    yield ("aimgeo", "version"), str(told.version)
    yield ("aimgeo", "kind"), clip.kind
    if clip.method:
        yield ("aimgeo", "method"), clip.method
    if clip.distance_name:
        yield ("aimgeo", "distance"), clip.distance_name
    if clip.cut_deg is not None and not clip.hides_its_answer:
        yield ("aimgeo", "cut"), f"{clip.cut_deg:.6g}"
        yield ("aimgeo", "side"), clip.side or "straight"


def _name(prefix: str, key: str) -> str:
    return f"{{{SPACES[prefix]}}}{key}"
