"""Timelines read back by OpenTimelineIO, and lists by a reader written here, against fully decoded clips."""

from __future__ import annotations

import json
import re
import zipfile
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any, NamedTuple
from urllib.parse import unquote, urlparse
from xml.etree import ElementTree as ET

import av
import numpy as np
import opentimelineio as otio
import pytest

from lessons.deliver import Wishes, edl, fcpxml, timeline
from lessons.deliver.footage import Footage, disagreements, measure, read_footage
from lessons.deliver.timecode import DROP_RATE, Timecode
from lessons.rendering.deliveries import recorded
from lessons.rendering.manifest import Clip, ManifestError
from scenes.board.brief import Output
from scenes.film.forms import FORMS
from scenes.film.masters import MasterFilm

COUNTED = [
    ((24000, 1001), False), ((24, 1), False), ((25, 1), False), ((30000, 1001), True), ((30000, 1001), False),
    ((30, 1), False), ((50, 1), False), ((60000, 1001), False), ((60, 1), False),
]  # fmt: skip


class Event(NamedTuple):
    reel: str
    channels: str
    frames: tuple[int, int, int, int]
    file: str
    marks: list[tuple[int, str]]


def frame_of(name: str, count: int, drop: bool) -> int:
    """Count upwards: every minute but each tenth starts two numbers later when dropping."""
    h, m, s, f = map(int, re.split("[:;]", name))
    minutes = 60 * h + m
    return (60 * minutes + s) * count + f - (2 * (minutes - minutes // 10) if drop else 0)


def read_edl(text: str, count: int) -> tuple[str, bool, list[Event], list[str]]:
    """A CMX 3600 list: title, whether frames are dropped, events, and other comments."""
    assert text.isascii()
    lines = text.split("\r\n")
    title = lines[0].removeprefix("TITLE: ")
    drop = {"FCM: DROP FRAME": True, "FCM: NON-DROP FRAME": False}[lines[1]]
    events: list[Event] = []
    notes: list[str] = []
    clock = r"(\d\d:\d\d:\d\d" + (";" if drop else ":") + r"\d\d)"
    for line in lines[2:]:
        if m := re.fullmatch(rf"(\d{{3}})  (\S{{1,8}}) (V|B) {{4}} C {{8}}{clock} {clock} {clock} {clock}", line):
            assert int(m[1]) == len(events) + 1
            assert not notes or len(events) > 0  # readers take nothing but title and FCM before the first event
            a, b, c, d = (frame_of(m[k], count, drop) for k in (4, 5, 6, 7))
            events.append(Event(m[2], m[3], (a, b, c, d), "", []))
        elif m := re.fullmatch(rf"\* LOC: {clock} GREEN   .+", line):
            assert frame_of(m[1], count, drop) == events[-1].frames[2]  # a chapter starts with its clip
        elif m := re.fullmatch(r"\* FROM CLIP NAME: (.+)", line):
            events[-1] = events[-1]._replace(file=m[1])
        elif m := re.fullmatch(rf"\* LOC: {clock} CYAN    (.*)", line):
            events[-1].marks.append((frame_of(m[1], count, drop), m[2]))
        elif line:
            notes.append(line)
    return title, drop, events, notes


@pytest.mark.parametrize(("rate", "drop"), COUNTED)
def test_timelines_are_frame_accurate_against_decoded_clips(
    rate: tuple[int, int], drop: bool, tmp_path: Path, stock: SimpleNamespace
) -> None:
    footage = stock.write_folder(tmp_path, stock.usual_entries(rate))
    wishes = Wishes(non_drop=not drop)
    timeline.deliver(footage, wishes)
    edl.deliver(footage, wishes)
    lengths = [len(stock.decoded_greys(footage.path(c))) for c in footage.clips]
    starts = [sum(lengths[:k]) for k in range(len(lengths))]
    files = [c.file for c in footage.clips]
    steps = [[(s.first_frame, s.name) for s in c.steps] for c in footage.clips]
    fps = rate[0] / rate[1]
    count = round(fps)
    hour = 107892 if drop else 3600 * count

    for suffix in ("otio", "xml"):
        read = otio.adapters.read_from_file(str(tmp_path / f"thin-and-full.{suffix}"))
        assert read.name == "Thin and full"
        assert read.global_start_time == otio.opentime.RationalTime(hour, fps)
        start_name = otio.opentime.to_timecode(read.global_start_time, fps, drop)
        assert start_name == ("01:00:00;00" if drop else "01:00:00:00")
        (track,) = read.video_tracks()
        laid = list(track.find_clips())
        assert [c.name for c in laid] == files
        for clip, length, start, marks in zip(laid, lengths, starts, steps, strict=True):
            at = clip.range_in_parent()
            assert (at.start_time.value, at.duration.value) == (start, length)
            assert at.duration.rate == pytest.approx(fps, abs=1e-9)
            available = clip.media_reference.available_range
            assert (available.start_time.value, available.duration.value) == (0, length)
            url = clip.media_reference.target_url
            assert not urlparse(url).scheme
            assert not url.startswith(("/", "."))
            assert (tmp_path / unquote(url)).is_file()
            assert [(m.marked_range.start_time.value, m.name) for m in clip.markers] == marks
        assert read.duration().value == sum(lengths)

    title, dropped, events, notes = read_edl((tmp_path / "thin-and-full.edl").read_bytes().decode(), count)
    assert (title, dropped) == ("Thin and full", drop)
    assert [e.file for e in events] == files
    assert len({e.reel for e in events}) == len(events)
    for event, length, start, marks in zip(events, lengths, starts, steps, strict=True):
        assert event.frames == (0, length, hour + start, hour + start + length)
        assert event.marks == [(hour + start + at, name) for at, name in marks]
    assert bool(notes) == (fps > 30)
    assert all("NO SUCH TIMECODE" in note for note in notes)


def test_the_xml_says_how_frames_are_counted_and_how_big_they_are(tmp_path: Path, stock: SimpleNamespace) -> None:
    footage = stock.write_folder(tmp_path, stock.usual_entries((30000, 1001)))
    for non_drop, shown in ((False, "DF"), (True, "NDF")):
        timeline.deliver(footage, Wishes(non_drop=non_drop))
        text = (tmp_path / "thin-and-full.xml").read_text("utf-8")
        sequence = text[text.rindex("</media>") :]
        assert f"<displayformat>{shown}</displayformat>" in sequence
        assert "<width>96</width>" in text[: text.index("<track>")]


@pytest.mark.parametrize(("rate", "drop"), [*COUNTED, ((60000, 1001), True)])
def test_timecode_agrees_with_opentimelineio(rate: tuple[int, int], drop: bool) -> None:
    timecode = Timecode(Fraction(*rate), drop)
    fps = rate[0] / rate[1]
    near = [m * 60 * round(fps) + k for m in (1, 2, 9, 10, 11, 20, 60, 61, 600) for k in range(-40, 40)]
    for frame in [*range(0, 4000, 7), *near, *range(0, 24 * 3600 * 20, 9973)]:
        assert timecode.name(frame) == otio.opentime.to_timecode(otio.opentime.RationalTime(frame, fps), fps, drop)


def test_one_hour_of_drop_frame_is_107892_frames_smpte_12() -> None:
    """SMPTE ST 12-1: two numbers are left out each minute but the tenth, 108 an hour; from memory."""
    assert Timecode(DROP_RATE, True).name(107892) == "01:00:00;00"
    assert Timecode(DROP_RATE, True).start_frame == 107892


def test_more_than_999_clips_go_on_in_a_second_list(
    tmp_path: Path, stock: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(edl, "has_sound", lambda path: False)  # a thousand files would be opened
    footage = stock.write_folder(tmp_path, [stock.entry("a", 4, (25, 1), [("s", 4, "")])])
    about = replace(footage.manifest.lesson, title="Many", identity="many")
    many = Footage(tmp_path, replace(footage.manifest, lesson=about, clips=footage.clips * 1001))
    files = edl.deliver(many, Wishes()).files
    assert [f.name for f in files] == ["many.edl", "many_2.edl"]
    first, second = (read_edl(f.read_bytes().decode(), 25)[2] for f in files)
    assert (len(first), len(second)) == (999, 2)
    assert second[0].frames[2] == first[-1].frames[3]


def test_a_title_beyond_ascii_leaves_the_list_ascii(tmp_path: Path, stock: SimpleNamespace) -> None:
    footage = stock.write_folder(
        tmp_path, [stock.entry("a", 4, (25, 1), [("ziel – ½", 4, "")])], title="Dünn & voll ✓"
    )
    edl.deliver(footage, Wishes())
    title, _, events, _ = read_edl((tmp_path / "thin-and-full.edl").read_bytes().decode(), 25)
    assert title == "Dunn & voll"
    assert events[0].marks[0][1].startswith("ziel")
    timeline.deliver(footage, Wishes())
    assert otio.adapters.read_from_file(str(tmp_path / "thin-and-full.xml")).name == "Dünn & voll ✓"


def test_the_bundle_carries_the_clips_and_opens_elsewhere(tmp_path: Path, stock: SimpleNamespace) -> None:
    footage = stock.write_folder(tmp_path, stock.usual_entries((25, 1)))
    (bundle,) = (f for f in timeline.deliver(footage, Wishes(bundle=True)).files if f.suffix == ".otioz")
    with zipfile.ZipFile(bundle) as packed:
        for clip in footage.clips:
            assert packed.read(f"media/{clip.file}") == footage.path(clip).read_bytes()
    read = otio.adapters.read_from_file(str(bundle))
    assert [c.media_reference.target_url for c in read.find_clips()] == [f"media/{c.file}" for c in footage.clips]


def test_captions_ride_along_in_the_timeline(tmp_path: Path, stock: SimpleNamespace) -> None:
    footage = stock.write_folder(tmp_path, stock.usual_entries((25, 1)))
    timeline.deliver(footage, Wishes())
    first = otio.adapters.read_from_file(str(tmp_path / "thin-and-full.otio")).find_clips()[0]
    assert first.metadata["aimgeo"]["captions"][0]["text"].startswith("Find the line")
    assert first.markers[0].comment == stock.words["target"]


def test_sound_lies_under_its_pictures(tmp_path: Path, stock: SimpleNamespace) -> None:
    footage = stock.write_folder(tmp_path, [stock.entry(n, 50, (25, 1), [("s", 50, "")]) for n in "abc"])
    stock.with_tone(footage.path(footage.clips[1]), 440)
    timeline.deliver(footage, Wishes())
    edl.deliver(footage, Wishes())
    for suffix in ("otio", "xml"):
        read = otio.adapters.read_from_file(str(tmp_path / f"thin-and-full.{suffix}"))
        (sound,) = read.audio_tracks()
        (heard,) = sound.find_clips()
        assert heard.name == "b.mp4"
        at = heard.range_in_parent()
        assert (at.start_time.value, at.duration.value) == (50, 50)
    events = read_edl((tmp_path / "thin-and-full.edl").read_bytes().decode(), 25)[2]
    assert [e.channels for e in events] == ["V", "B", "V"]


# ------------------------------------------------------------------ does the folder keep its word


def broken(folder: Path) -> list[str]:
    return list(disagreements(read_footage(folder)))


def test_a_whole_folder_has_nothing_to_say(tmp_path: Path, stock: SimpleNamespace) -> None:
    for rate in ((24000, 1001), (25, 1), (60000, 1001)):
        stock.write_folder(tmp_path, stock.usual_entries(rate))
        assert broken(tmp_path) == []


@pytest.mark.parametrize("frames", [1, 2, 3, 24, 25, 61])
def test_measured_length_is_the_decoded_length(frames: int, tmp_path: Path, stock: SimpleNamespace) -> None:
    stock.write_clip(tmp_path / "a.mp4", frames, (25, 1))
    found = measure(tmp_path / "a.mp4")
    assert found is not None
    assert found.frames == len(stock.decoded_greys(tmp_path / "a.mp4")) == frames
    assert (found.rate, found.width_px, found.height_px) == (Fraction(25), 96, 64)


def test_missing_altered_short_and_broken_clips_are_told_with_their_lesson_line(
    tmp_path: Path, stock: SimpleNamespace
) -> None:
    entries = [stock.entry(n, 30, (25, 1), [("s", 30, "")]) for n in ("gone", "short", "cut", "slow")]
    footage = stock.write_folder(tmp_path, entries)
    gone, short, cut, slow = (footage.path(c) for c in footage.clips)
    gone.unlink()
    stock.write_clip(short, 29, (25, 1))
    cut.write_bytes(cut.read_bytes()[:-200])
    stock.write_clip(slow, 30, (24, 1))
    said = broken(tmp_path)
    assert all(s.startswith("lesson.yaml:12: ") for s in said)
    assert "gone.mp4 is missing" in said[0]
    assert any("short.mp4 is 29 frames at 25 of 96 x 64, the manifest says 30 frames" in s for s in said)
    assert any("short.mp4 was altered" in s for s in said)
    assert any("cut.mp4 cannot be decoded" in s for s in said)
    assert any("slow.mp4 is 30 frames at 24" in s for s in said)


def test_a_clip_with_a_frame_missing_in_the_middle_is_not_even(tmp_path: Path) -> None:
    path = tmp_path / "gap.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=25)
        stream.width, stream.height, stream.pix_fmt = 96, 64, "yuv420p"
        for k in [*range(10), *range(11, 30)]:
            frame = av.VideoFrame(96, 64, "yuv420p")
            frame.pts, frame.time_base = k, Fraction(1, 25)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    assert measure(path) is None


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (None, "render the lesson"),
        ("{", "not readable as JSON"),
        ("[]", "schema 1 was expected"),
        ('{"schema": 1, "lesson": {"title": "a", "identity": "b"}, "made_with": {}, "clips": []}', "no clips"),
        ('{"schema": 1, "lesson": {}, "made_with": {}, "clips": []}', "lesson.title: field required"),
        ('{"schema": 1, "lesson": 5, "made_with": {}, "clips": [5]}', "lesson: input should be a dict"),
    ],
)
def test_an_unusable_manifest_is_one_sentence(text: str | None, said: str, tmp_path: Path) -> None:
    if text is not None:
        (tmp_path / "manifest.json").write_text(text)
    with pytest.raises(Exception, match=said) as caught:
        read_footage(tmp_path)
    assert str(caught.value).startswith(str(tmp_path / "manifest.json"))


@pytest.mark.parametrize("file", ["../a.mp4", "/etc/a.mp4", "a\\b.mp4"])
def test_a_clip_outside_the_folder_is_refused(file: str, tmp_path: Path, stock: SimpleNamespace) -> None:
    stock.write_folder(tmp_path, [stock.entry("a", 4, (25, 1), [("s", 4, "")])])
    path = tmp_path / "manifest.json"
    path.write_text(path.read_text().replace('"a.mp4"', '"' + file.replace("\\", "\\\\") + '"'))
    with pytest.raises(Exception, match="outside the folder"):
        read_footage(tmp_path)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"name": "../../evil"}, r"clips\[1\].name: '../../evil' is no name for a file in this folder"),
        ({"rate": [24, 0]}, r"clips\[1\].rate: "),
        ({"rate": [-24, 1]}, r"clips\[1\].rate: "),
        ({"frames": -1}, r"clips\[1\].frames: input should be greater than or equal to 0"),
        ({"steps": [{"name": "s"}]}, r"clips\[1\].steps\[0\].first_frame: field required"),
        ({"still": 5}, r"clips\[1\].still: "),
    ],
)
def test_what_is_wrong_with_a_clip_is_told_with_its_place(
    wrong: dict[str, Any], said: str, tmp_path: Path, stock: SimpleNamespace
) -> None:
    stock.write_folder(tmp_path, [stock.entry(name, 4, (25, 1), [("s", 4, "")]) for name in "ab"])
    path = tmp_path / "manifest.json"
    told = json.loads(path.read_text())
    told["clips"][1] |= wrong
    path.write_text(json.dumps(told))
    with pytest.raises(ManifestError, match=said + ".*; render the lesson again.$"):
        read_footage(tmp_path)


def test_clips_of_different_rates_make_no_timeline(tmp_path: Path, stock: SimpleNamespace) -> None:
    entries = [stock.entry("a", 4, (25, 1), [("s", 4, "")]), stock.entry("b", 4, (24, 1), [("s", 4, "")])]
    footage = stock.write_folder(tmp_path, entries)
    with pytest.raises(Exception, match=r"different frame rates \(24, 25\)"):
        timeline.deliver(footage, Wishes())


def test_clip_fields(tmp_path: Path, stock: SimpleNamespace) -> None:
    footage = stock.write_folder(tmp_path, [stock.entry("a", 4, (25, 1), [("s", 4, "")], kind="quiz")])
    clip: Clip = footage.clips[0]
    assert clip.hides_its_answer
    assert clip.where == "lesson.yaml:12"


def test_the_xml_can_be_relinked_and_holds_sound_to_its_picture(tmp_path: Path, stock: SimpleNamespace) -> None:
    """Elements as in the published catalogue of the form: link, locked, reel; ids come from lasting identities."""
    entries = [stock.entry(n, 25, (25, 1), [("s", 25, "Say & see")]) for n in ("a b", "c")]
    footage = stock.write_folder(tmp_path, entries)
    stock.with_tone(footage.path(footage.clips[0]), 300)
    timeline.deliver(footage, Wishes())
    text = (tmp_path / "thin-and-full.xml").read_text("utf-8")
    assert text.startswith('<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE xmeml>\n<xmeml')
    root = ET.fromstring(text)
    assert [t.findtext("locked") for t in root.iter("track")] == ["FALSE", "FALSE"]
    items = list(root.iter("clipitem"))
    assert all(len(item.findall("rate")) == 1 for item in items)
    assert [m.tag for m in items[0].find("marker") or ()] == ["name", "comment", "in", "out"]
    ids = {item.attrib["id"] for item in items}
    assert len(ids) == 3
    pairs = [[link.findtext("linkclipref") for link in item.findall("link")] for item in items]
    assert pairs[1] == []
    assert pairs[0] == pairs[2]
    assert len(pairs[0]) == 2
    assert set(pairs[0]) < ids
    reels = [e.findtext("timecode/reel/name") for e in root.iter("file") if e.find("timecode") is not None]
    edl.deliver(footage, Wishes())
    events = read_edl((tmp_path / "thin-and-full.edl").read_bytes().decode(), 25)[2]
    assert [event.reel for event in events] == reels
    files = recorded(footage.manifest).by_name()
    assert reels == [files[name].identity[:8].upper() for name in ("a b", "c")]


def test_at_29_97_files_and_lists_count_alike(tmp_path: Path, stock: SimpleNamespace) -> None:
    path = tmp_path / "clip.mov"
    film = MasterFilm(path, Output(32, 16, (30000, 1001)), FORMS["prores"])
    film.show([((0, 0, 32, 16), np.zeros((16, 32, 4), np.uint8))])
    film.close()
    with av.open(str(path)) as container:
        assert container.streams.data[0].metadata["timecode"] == "00:00:00;00"
    footage = stock.write_folder(tmp_path, [stock.entry("a", 4, (30000, 1001), [("s", 4, "")])])
    timeline.deliver(footage, Wishes())
    root = ET.fromstring((tmp_path / "thin-and-full.xml").read_text("utf-8"))
    assert [e.text for e in root.iter("displayformat")] == ["DF", "DF"]


def test_addresses_are_whole_where_that_is_wished_for(tmp_path: Path, stock: SimpleNamespace) -> None:
    footage = stock.write_folder(tmp_path, [stock.entry("a b", 4, (25, 1), [("s", 4, "")])])
    wishes = Wishes(absolute=True)
    timeline.deliver(footage, wishes)
    fcpxml.deliver(footage, wishes)
    url = (tmp_path / "a b.mp4").resolve().as_uri()
    read = otio.adapters.read_from_file(str(tmp_path / "thin-and-full.otio"))
    assert [c.media_reference.target_url for c in read.find_clips()] == [url]
    for suffix in ("xml", "fcpxml"):
        assert url in (tmp_path / f"thin-and-full.{suffix}").read_text("utf-8")


@pytest.mark.parametrize(("rate", "drop"), COUNTED)
def test_the_fcpxml_lays_the_clips_frame_by_frame(
    rate: tuple[int, int], drop: bool, tmp_path: Path, stock: SimpleNamespace
) -> None:
    """Times are fractions of a second and whole frames; references and addresses as the public reference says."""
    footage = stock.write_folder(tmp_path, stock.usual_entries(rate))
    fcpxml.deliver(footage, Wishes(non_drop=not drop))
    root = ET.fromstring((tmp_path / "thin-and-full.fcpxml").read_text("utf-8"))
    tick = 1 / Fraction(*rate)

    def frames(text: str | None) -> int:
        found = Fraction((text or "").removesuffix("s")) / tick
        assert found.denominator == 1
        return found.numerator

    assert root.attrib == {"version": "1.9"}
    (sequence,) = root.iter("sequence")
    assert sequence.attrib["tcFormat"] == ("DF" if drop else "NDF")
    hour = frames(sequence.attrib["tcStart"])
    assert hour == (107892 if drop else 3600 * round(1 / tick))
    assets = {asset.attrib["id"]: asset for asset in root.iter("asset")}
    assert len({asset.attrib["uid"] for asset in assets.values()}) == len(footage.clips)
    laid = list(root.iter("asset-clip"))
    for (at, clip), one in zip(footage.starts(), laid, strict=True):
        asset = assets[one.attrib["ref"]]
        assert frames(one.attrib["offset"]) == hour + at
        assert frames(one.attrib["duration"]) == frames(asset.attrib["duration"]) == clip.frames
        assert [(frames(m.attrib["start"]), m.attrib["value"]) for m in one.iter("marker")] == [
            (step.first_frame, step.name) for step in clip.steps
        ]
        (media,) = asset
        assert (tmp_path / unquote(media.attrib["src"])).is_file()


@pytest.mark.parametrize("non_drop", [False, True])
def test_a_source_is_counted_as_its_own_file_counts_it(
    non_drop: bool, tmp_path: Path, stock: SimpleNamespace
) -> None:
    """A clip over a filmed shot has that shot's timecode, and its file keeps drop frame in a list without it.

    Read back by OpenTimelineIO's reader of such lists, which takes `;` for drop frame.
    """
    told = {"timecode": "01:00:01;02", "reel": "FILMREEL"}
    entry = stock.entry("a", 12, (30000, 1001), [("s", 8, "Say."), ("t", 4, "")], **told)
    footage = stock.write_folder(tmp_path, [entry])
    wishes = Wishes(non_drop=non_drop)
    timeline.deliver(footage, wishes)
    fcpxml.deliver(footage, wishes)
    edl.deliver(footage, wishes)
    first = Timecode(DROP_RATE, drop=True).frame("01:00:01;02")
    text = (tmp_path / "thin-and-full.edl").read_text("ascii")
    mark = ":" if non_drop else ";"
    assert f"FILMREEL V     C        01:00:01;02 01:00:01;14 01:00:00{mark}00 01:00:00{mark}12" in text
    read = otio.adapters.read_from_string(text, "cmx_3600", rate=30000 / 1001)
    (clip,) = read.find_clips()
    assert (clip.source_range.start_time.value, clip.source_range.duration.value) == (first, 12)
    (clip,) = otio.adapters.read_from_file(str(tmp_path / "thin-and-full.otio")).find_clips()
    assert clip.media_reference.available_range.start_time.value == clip.source_range.start_time.value == first
    assert [m.marked_range.start_time.value for m in clip.markers] == [first, first + 8]
    root = ET.fromstring((tmp_path / "thin-and-full.xml").read_text("utf-8"))
    assert [e.findtext("timecode/string") for e in root.iter("file")] == ["01:00:01;02"]
    assert [e.findtext("timecode/reel/name") for e in root.iter("file")] == ["FILMREEL"]
    (asset,) = ET.fromstring((tmp_path / "thin-and-full.fcpxml").read_text("utf-8")).iter("asset")
    assert Fraction(asset.attrib["start"].removesuffix("s")) == first / DROP_RATE
