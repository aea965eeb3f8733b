"""The older XML interchange form, made whole: what OpenTimelineIO's adapter leaves out or says twice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import unquote
from xml.etree import ElementTree as ET

DOCTYPE = '<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE xmeml>\n'
MARKER_ORDER = ("name", "comment", "in", "out")


@dataclass(frozen=True, slots=True)
class Origin:
    """What a file is: its clip's lasting identity, the reel, and the timecode of its first frame.

    One that `recurs` may be laid more than once.
    """

    identity: str
    reel: str
    timecode: str
    recurs: bool = False


def completed(text: str, clips: Mapping[str, Origin]) -> str:
    """The adapter's text with a DOCTYPE, unlocked tracks, one rate a clip, each picture linked to its sound, each
    file with its reel and its own timecode, and identities that outlive names. `clips` are by the end of the
    file's address.
    """
    root = ET.fromstring(text)
    by_file: dict[str, Origin] = {}
    for file in root.iter("file"):
        url = file.findtext("pathurl")
        if url is not None:
            clip = next(clip for address, clip in clips.items() if f"/{unquote(url)}".endswith(f"/{address}"))
            by_file[file.attrib["id"]] = clip
            code = file.find("timecode")
            if code is not None:
                _child(_child(code, "reel"), "name").text = clip.reel
                _child(code, "displayformat").text = "DF" if ";" in clip.timecode else "NDF"
                _child(code, "string").text = clip.timecode
    linked: dict[str, list[tuple[str, str, int, int]]] = {}
    for kind in ("video", "audio"):
        for t, track in enumerate(root.findall(f"./project/children/sequence/media/{kind}/track"), 1):
            _child(track, "enabled").text = "TRUE"
            _child(track, "locked").text = "FALSE"
            for k, item in enumerate(track.findall("clipitem"), 1):
                _clean(item)
                clip = by_file[item.find("file").attrib["id"]]  # type: ignore[union-attr]
                identity = f"{clip.identity}.{k}" if clip.recurs else clip.identity
                item.attrib["id"] = f"{identity}-{kind}"
                linked.setdefault(identity, []).append((item.attrib["id"], kind, t, k))
    for item in root.iter("clipitem"):
        pair = linked[item.attrib["id"].rsplit("-", 1)[0]]
        for identity, kind, t, k in pair if len(pair) > 1 else ():
            link = ET.SubElement(item, "link")
            for tag, value in (
                ("linkclipref", identity),
                ("mediatype", kind),
                ("trackindex", str(t)),
                ("clipindex", str(k)),
            ):
                ET.SubElement(link, tag).text = value
    for file in root.iter("file"):
        file.attrib["id"] = f"file-{by_file[file.attrib['id']].identity}"
    ET.indent(root)
    return DOCTYPE + ET.tostring(root, encoding="unicode") + "\n"


def _clean(item: ET.Element) -> None:
    """One rate, and the markers' parts in the usual order."""
    for more in item.findall("rate")[1:]:
        item.remove(more)
    for marker in item.findall("marker"):
        marker[:] = sorted(marker, key=lambda part: (*MARKER_ORDER, part.tag).index(part.tag))


def _child(parent: ET.Element, tag: str) -> ET.Element:
    found = parent.find(tag)
    return ET.SubElement(parent, tag) if found is None else found
