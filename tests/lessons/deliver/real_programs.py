"""Open a delivery in programs that editors use, without a window, and compare what they show with the manifest.

    python tests/lessons/deliver/real_programs.py FOLDER [FRAME-PICTURES-FOLDER]

MLT plays each cut, and GStreamer Editing Services and Blender's sequencer lay the timeline as `<lesson>.otio` has
it, by scripts inside the programs. Told are the order, where each cut starts and ends on the timeline, where it
starts in its file, its name, and the picture in its middle. Debian packages: melt, gir1.2-ges-1.0 with python3-gi
and gstreamer1.0-libav, blender.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from xml.etree import ElementTree as ET

import av
import numpy as np
import opentimelineio as otio
from numpy.typing import NDArray
from PIL import Image

from lessons.deliver.footage import Footage, read_footage
from lessons.deliver.pictures import read_frame

Picture = NDArray[np.uint8]
SECONDS = 300
MOST_APART = 4.0
"""A program's picture and the file's may differ by so much of 255 on average: programs round colours elsewhere."""


@dataclass(frozen=True, slots=True)
class Laid:
    """A cut on the timeline: its clip's name, first frame and end there, and its first frame in the file."""

    name: str
    path: str
    start: int
    end: int
    inside: int

    @property
    def middle(self) -> int:
        """The frame of the file whose picture is compared."""
        return self.inside + (self.end - self.start) // 2


class NotThereError(Exception):
    """A program that is not installed, in words."""


def cuts(footage: Footage) -> list[Laid]:
    """The cuts as the delivered timeline has them, its media found from where it lies."""
    timeline = otio.adapters.read_from_file(str(footage.folder / f"{footage.identity}.otio"))
    found = []
    for cut in timeline.video_tracks()[0].find_clips():
        media = cut.media_reference
        url = media.target_url
        path = otio.url_utils.filepath_from_url(url)
        start = int(cut.range_in_parent().start_time.value)
        inside = cut.source_range.start_time - media.available_range.start_time
        frames = int(cut.source_range.duration.value)
        whole = (footage.folder / path).resolve().as_posix()
        found.append(Laid(cut.name, whole, start, start + frames, int(inside.value)))
    return found


def wanted(footage: Footage) -> list[Laid]:
    """The cuts as the manifest has them."""
    return [
        Laid(
            Path(clip.file).name,
            footage.path(clip).resolve().as_posix(),
            at,
            at + clip.used_frames,
            clip.handle_frames,
        )
        for at, clip in footage.starts()
    ]


def program(name: str) -> str:
    """The program's path."""
    found = shutil.which(name)
    if found is None:
        raise NotThereError(f"{name} is not installed")
    return found


def run(words: list[str], **more: object) -> str:
    """What a program writes; CalledProcessError with its words when it fails."""
    environment = {**os.environ, "QT_QPA_PLATFORM": "offscreen", "GST_DEBUG": "0"}
    environment.pop("PYTHONPATH", None)
    done = subprocess.run(
        words, capture_output=True, text=True, timeout=SECONDS, check=False, env=environment, **more
    )  # type: ignore[call-overload]
    if done.returncode:
        raise RuntimeError(f"{words[0]} ended with {done.returncode}: {(done.stdout + done.stderr)[-2000:]}")
    return str(done.stdout)


# ------------------------------------------------------------------ MLT


def in_mlt(laid: list[Laid], footage: Footage, folder: Path) -> tuple[list[Laid], list[Picture]]:
    """The cuts as a playlist of MLT, written out by melt itself, and a picture of each played by it."""
    melt = program("melt")
    clip = footage.clips[0]
    profile = ET.Element(
        "profile", width=str(clip.width_px), height=str(clip.height_px), progressive="1",
        sample_aspect_num="1", sample_aspect_den="1", display_aspect_num=str(clip.width_px),
        display_aspect_den=str(clip.height_px), frame_rate_num=str(clip.rate.numerator),
        frame_rate_den=str(clip.rate.denominator), colorspace="709",
    )  # fmt: skip
    root = ET.Element("mlt")
    root.append(profile)
    for k, cut in enumerate(laid):
        producer = ET.SubElement(root, "producer", id=f"p{k}")
        for name, value in (("resource", cut.path), ("mlt_service", "avformat"), ("title", cut.name)):
            ET.SubElement(producer, "property", name=name).text = value
    playlist = ET.SubElement(root, "playlist", id="cuts")
    for k, cut in enumerate(laid):
        last = cut.inside + cut.end - cut.start - 1
        ET.SubElement(playlist, "entry", {"producer": f"p{k}", "in": str(cut.inside), "out": str(last)})
    project = folder / "cuts.mlt"
    project.write_bytes(ET.tostring(root))
    words = [
        word
        for cut in laid
        for word in (
            cut.path, f"in={cut.inside}", f"out={cut.inside + cut.end - cut.start - 1}", f"title={cut.name}",
        )
    ]  # fmt: skip
    told = ET.fromstring(run([melt, *words, "-consumer", "xml", "time_format=frames"]).partition("\n")[2])
    producers = {
        p.attrib["id"]: {"title": p.attrib["title"], "in": p.attrib["in"]}
        | {e.attrib["name"]: e.text or "" for e in p.findall("property")}
        for kind in ("producer", "chain")
        for p in told.iter(kind)
    }
    found, at = [], 0
    for entry in told.iter("entry"):
        properties = producers[entry.attrib["producer"]]
        first, last = int(entry.attrib["in"]), int(entry.attrib["out"])
        inside = int(properties["in"]) + first  # an entry counts within its producer's own in and out
        found.append(Laid(properties["title"], properties["resource"], at, at + last - first + 1, inside))
        at += last - first + 1
    pictures = []
    for k, cut in enumerate(found):
        frame = str((cut.start + cut.end) // 2)
        out = folder / f"mlt-{k}.png"
        run([melt, str(project), f"in={frame}", f"out={frame}", "-consumer", f"avformat:{out}", "vcodec=png",
             "f=image2", "an=1", "real_time=-1", "update=1"])  # fmt: skip
        pictures.append(np.asarray(Image.open(out).convert("RGB")))
    return found, pictures


# ------------------------------------------------------------------ GStreamer Editing Services

GES = """
import gi, json, sys
from fractions import Fraction
gi.require_version("GES", "1.0"); gi.require_version("Gst", "1.0"); gi.require_version("GstPbutils", "1.0")
from gi.repository import GES, Gst, GstPbutils
Gst.init(None); GES.init()
cuts, (over, under), (width, height), folder = json.loads(sys.argv[1])
tick = lambda frame: round(Fraction(frame * under, over) * Gst.SECOND)
timeline = GES.Timeline.new()
track = GES.VideoTrack.new()
caps = f"video/x-raw,width={width},height={height},framerate={over}/{under},pixel-aspect-ratio=1/1"
track.set_restriction_caps(Gst.Caps.from_string(caps))
timeline.add_track(track)
layer = timeline.append_layer()
for cut in cuts:
    asset = GES.UriClipAsset.request_sync(Gst.filename_to_uri(cut["path"]))
    clip = layer.add_asset(asset, tick(cut["start"]), tick(cut["inside"]),
                           tick(cut["end"]) - tick(cut["start"]), GES.TrackType.VIDEO)
    clip.set_name(cut["name"])
timeline.commit_sync()
frame = lambda time: round(Fraction(time, Gst.SECOND) * over / under)
told = [(c.get_name(), Gst.uri_get_location(c.get_uri()), frame(c.get_start()),
         frame(c.get_start() + c.get_duration()), frame(c.get_inpoint())) for c in layer.get_clips()]
pipeline = GES.Pipeline.new()
pipeline.set_timeline(timeline)
sink = Gst.parse_bin_from_description(
    "videoconvert ! video/x-raw,format=RGB ! appsink name=out sync=false max-buffers=1", True)
out = sink.get_by_name("out")
pipeline.preview_set_video_sink(sink)
pipeline.set_mode(GES.PipelineFlags.VIDEO_PREVIEW)
pipeline.set_state(Gst.State.PAUSED)
pipeline.get_state(60 * Gst.SECOND)
out.emit("pull-preroll")
files = []
for k, (name, path, start, end, inside) in enumerate(told):
    at = tick((start + end) // 2) + Gst.SECOND * under // over // 2
    pipeline.seek_simple(Gst.Format.TIME, Gst.SeekFlags.FLUSH | Gst.SeekFlags.ACCURATE, at)
    pipeline.get_state(60 * Gst.SECOND)
    buffer = out.emit("pull-preroll").get_buffer()
    files.append(f"{folder}/ges-{k}.rgb")
    open(files[-1], "wb").write(buffer.extract_dup(0, buffer.get_size()))
pipeline.set_state(Gst.State.NULL)
print("TOLD", json.dumps([told, files]))
"""


def in_ges(laid: list[Laid], footage: Footage, folder: Path) -> tuple[list[Laid], list[Picture]]:
    """The cuts on a timeline of GStreamer Editing Services, and a picture of each from its pipeline."""
    python = "/usr/bin/python3"
    look = "import gi; gi.require_version('GES', '1.0')"
    if not Path(python).exists() or subprocess.run([python, "-c", look], capture_output=True).returncode:
        raise NotThereError("GStreamer Editing Services (gir1.2-ges-1.0) are not installed")
    clip = footage.clips[0]
    size = (clip.width_px, clip.height_px)
    rate = (clip.rate.numerator, clip.rate.denominator)
    asked = json.dumps([[asdict(cut) for cut in laid], rate, size, str(folder)])
    told, files = json.loads(run([python, "-c", GES, asked]).partition("TOLD ")[2])
    pictures = []
    for file in files:
        content = np.fromfile(file, np.uint8)
        rows = content.reshape(size[1], -1)[:, : 3 * size[0]]  # rows are padded to four bytes
        pictures.append(rows.reshape(size[1], size[0], 3))
    return [Laid(*row) for row in told], pictures


# ------------------------------------------------------------------ Blender

BLENDER = """
import bpy, json, sys
cuts, (over, under), (width, height), folder = json.loads(sys.argv[-1])
scene = bpy.context.scene
scene.render.fps, scene.render.fps_base = round(over / under), round(over / under) * under / over
scene.render.resolution_x, scene.render.resolution_y = width, height
scene.render.resolution_percentage = 100
scene.view_settings.view_transform = "Standard"
scene.render.image_settings.file_format = "PNG"
editor = scene.sequence_editor_create()
strips = getattr(editor, "strips", None) or editor.sequences
for cut in cuts:
    strip = strips.new_movie(name=cut["name"], filepath=cut["path"], channel=1,
                             frame_start=cut["start"] - cut["inside"])
    strip.frame_offset_start = cut["inside"]
    strip.frame_final_duration = cut["end"] - cut["start"]
told, files = [], []
for k, strip in enumerate(sorted(strips, key=lambda strip: strip.frame_final_start)):
    start, end = int(strip.frame_final_start), int(strip.frame_final_end)
    told.append([strip.name, bpy.path.abspath(strip.filepath), start, end, int(strip.frame_offset_start)])
    scene.frame_set((start + end) // 2)
    files.append(f"{folder}/blender-{k}.png")
    scene.render.filepath = files[-1]
    bpy.ops.render.render(write_still=True)
print("TOLD", json.dumps([told, files]))
"""


def in_blender(laid: list[Laid], footage: Footage, folder: Path) -> tuple[list[Laid], list[Picture]]:
    """The cuts as strips of Blender's sequencer, and a picture of each rendered by it."""
    blender = program("blender")
    script = folder / "lay.py"
    script.write_text(BLENDER)
    clip = footage.clips[0]
    rate = (clip.rate.numerator, clip.rate.denominator)
    asked = json.dumps([[asdict(cut) for cut in laid], rate, (clip.width_px, clip.height_px), str(folder)])
    words = [blender, "--background", "--factory-startup", "--python-exit-code", "1", "--python", str(script)]
    out = run([*words, "--", asked])
    told, files = json.loads(next(line for line in out.splitlines() if line.startswith("TOLD "))[5:])
    return [Laid(*row) for row in told], [np.asarray(Image.open(file).convert("RGB")) for file in files]


PROGRAMS: dict[str, Callable[[list[Laid], Footage, Path], tuple[list[Laid], list[Picture]]]] = {
    "MLT": in_mlt,
    "GStreamer Editing Services": in_ges,
    "Blender's sequencer": in_blender,
}


def has_alpha(path: Path) -> bool:
    """True for pictures without a ground: each program lays them over one of its own, so they are not compared."""
    with av.open(str(path)) as container:
        return any(component.is_alpha for component in container.streams.video[0].codec_context.format.components)


def compare(name: str, footage: Footage, folder: Path) -> list[str]:
    """What a program shows otherwise than the manifest says; nothing when all agree."""
    found, pictures = PROGRAMS[name](cuts(footage), footage, folder)
    expected = wanted(footage)
    wrong = [f"{name} has {len(found)} cuts, the manifest {len(expected)} clips"] * (len(found) != len(expected))
    for cut, one, clip, picture in zip(expected, found, footage.clips, pictures, strict=False):
        if one != cut:
            wrong.append(f"{name}: {one} instead of {cut}")
            continue
        if has_alpha(Path(cut.path)):
            continue
        true = {
            k: np.asarray(read_frame(Path(cut.path), k, clip.rate)).astype(int)
            for k in range(max(cut.middle - 1, 0), min(cut.middle + 2, clip.frames))
        }
        if picture.shape != true[cut.middle].shape:
            wrong.append(f"{name}: {cut.name} has a picture of {picture.shape[1::-1]}")
            continue
        apart = {k: float(np.abs(picture - other).mean()) for k, other in true.items()}
        # programs turn video into RGB by matrices of their own: the right picture is the nearest, and near
        if apart[cut.middle] > min(apart.values()) + 1e-9 or apart[cut.middle] > MOST_APART:
            shown = {k: round(v, 2) for k, v in apart.items()}
            wrong.append(f"{name}: frame {cut.middle} of {cut.name} differs from the file's: {shown}")
    return wrong


def main() -> None:
    """Try every program on a folder; exit 1 when one differs."""
    footage = read_footage(Path(sys.argv[1]))
    wrong = []
    for name in PROGRAMS:
        with tempfile.TemporaryDirectory(prefix="aimgeo-programs-") as temporary:
            folder = Path(sys.argv[2] if len(sys.argv) > 2 else temporary)
            folder.mkdir(parents=True, exist_ok=True)
            try:
                found = compare(name, footage, folder)
            except NotThereError as absent:
                print(f"{name}: skipped, {absent}")
                continue
            print(f"{name}: {len(footage.clips)} clips, {'as the manifest says' if not found else 'differs'}")
            wrong += found
    print("\n".join(wrong))
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
