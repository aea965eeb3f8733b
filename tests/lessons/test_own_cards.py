"""Cards of the author's own, pictures and films: what is shown of them, held to Pillow and PyAV; what is
refused."""

from __future__ import annotations

import shutil
from pathlib import Path

import av
import numpy as np
import pytest
from PIL import Image

from lessons.lesson.faults import LessonError
from lessons.lesson.model import load
from lessons.planning.plan import plan
from lessons.planning.planned import PlannedClip
from lessons.planning.sound import Sound
from lessons.rendering.cache import clip_key
from scenes.board import Photo, Text
from scenes.draw.photos import film, still
from scenes.draw.picture import picture
from scenes.judge.legible import faults
from scenes.kinds import CLIP_KINDS


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A picture, a drawing, and two seconds of film at 25 frames a second in which a bar moves 4 px a frame."""
    made = tmp_path_factory.mktemp("own")
    pixels = np.zeros((60, 90, 3), np.uint8)
    pixels[:, :45] = (200, 40, 40)
    Image.fromarray(pixels).save(made / "half.png")
    (made / "logo.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 10">'
        '<rect width="10" height="10" fill="#3366CC"/></svg>'
    )
    (made / "broken.png").write_bytes(b"\x89PNG\r\n\x1a\n no picture")
    (made / "broken.svg").write_text("<svg><rect")
    (made / "broken.mp4").write_bytes(b"no film")
    with av.open(str(made / "bar.mov"), "w") as target:
        video, sound = target.add_stream("mpeg4", rate=25), target.add_stream("aac", rate=44100)
        video.width, video.height, video.pix_fmt, video.bit_rate = 320, 180, "yuv420p", 2_000_000
        for k in range(50):
            shown = np.zeros((180, 320, 3), np.uint8)
            shown[:, 4 * k : 4 * k + 40] = 255
            target.mux(video.encode(av.VideoFrame.from_ndarray(shown, "rgb24")))
        tone = np.sin(np.arange(2 * 44100) * 2 * np.pi * 440 / 44100).astype(np.float32)[None] * 0.3
        for k in range(0, tone.shape[1], 1024):
            part = av.AudioFrame.from_ndarray(np.ascontiguousarray(tone[:, k : k + 1024]), "fltp", "mono")
            part.sample_rate, part.pts = 44100, k
            target.mux(sound.encode(part))
        target.mux(video.encode())
        target.mux(sound.encode())
    return made


def clip(folder: Path, keys: str) -> PlannedClip:
    path = folder / "lesson.yaml"
    path.write_text(f"title: A\noutput: {{size: 640x360, rate: 30}}\nclips:\n  - {{{keys}}}\n")
    (made,) = plan(load(path)).clips
    return made


def test_a_list_comes_line_by_line_and_is_said(folder: Path) -> None:
    made = clip(folder, 'kind: card, title: Set up, lines: [One ball, "Two balls.", Three], marks: numbers')
    assert [step.name for step in made.brief.steps] == ["card", "line 1", "line 2", "line 3"]
    assert [step.narration for step in made.brief.steps] == ["Set up.", "One ball.", "Two balls.", "Three."]
    board = CLIP_KINDS["card"].board(made.brief)
    assert faults(board) == []
    for k, step in enumerate(board.steps):
        seen = [
            e.shape.text for e in board.elements if isinstance(e.shape, Text) and e.is_visible(step.end_frame - 1)
        ]
        assert [text for text in seen if text[0] in "OT"] == ["One ball", "Two balls.", "Three"][:k]


@pytest.mark.parametrize("size", [(1920, 1080), (1080, 1080), (1080, 1920)])
def test_words_and_picture_share_every_shape_of_frame(folder: Path, size: tuple[int, int]) -> None:
    made = clip(folder, 'kind: card, title: A picture beside words, text: "Two\\nlines", picture: half.png')
    width, height = size
    shaped = made.brief.output.__class__(width, height, (30, 1))
    board = CLIP_KINDS["card"].board(
        made.brief.__class__(made.name, made.brief.subject, shaped, made.brief.steps, made.brief.labels)
    )
    (photo,) = (e.shape for e in board.elements if isinstance(e.shape, Photo))
    x, y, w, h = photo.rect_px
    assert w / h == pytest.approx(1.5)
    assert min(x, y, width - x - w, height - y - h) >= 0
    assert faults(board) == []
    for e in board.elements:
        if isinstance(e.shape, Text):
            assert not (x < e.shape.at_px[0] < x + w and y < e.shape.at_px[1] < y + h)


def test_a_picture_is_shown_as_pillow_reads_it(folder: Path) -> None:
    made = clip(folder, "kind: card, picture: half.png")
    shown = picture(CLIP_KINDS["card"].board(made.brief), 10)
    assert shown.shape == (360, 640, 3)
    assert shown[180, 150].tolist() == [200, 40, 40]
    assert shown[180, 500].tolist() == [0, 0, 0]
    drawn = still(str(folder / "logo.svg"), "", 200, 100)
    assert drawn[50, 50].tolist() == [0x33, 0x66, 0xCC, 255]
    assert drawn[50, 150].tolist() == [0, 0, 0, 0]


def test_a_film_runs_at_its_own_speed_in_the_lessons_rate_with_its_sound(folder: Path) -> None:
    made = clip(folder, "kind: film, film: bar.mov")
    assert (made.name, made.frames) == ("bar_film", 60)
    assert isinstance(made.sound, Sound)
    assert (made.sound.start_s, made.sound.end_s) == (0.0, 2.0)
    board = CLIP_KINDS["film"].board(made.brief)
    with av.open(str(folder / "bar.mov")) as opened:
        source = [frame.to_ndarray(format="rgb24") for frame in opened.decode(video=0)]
    for frame in (0, 17, 59, 30):
        shown = picture(board, frame)[180].max(axis=1) > 127
        expected = source[min(int((frame + 0.5) / 30 * 25), 49)][90].max(axis=1) > 127
        left, wanted = int(np.argmax(shown)), 2 * int(np.argmax(expected))
        assert abs(left - wanted) <= 4, frame
    part = clip(folder, "kind: film, film: bar.mov, begin: 0.5, end: 1.5, sound: false, fit: fill")
    assert part.frames == 30
    assert part.sound is None
    at = film(str(folder / "bar.mov"), "", 320, 180)
    assert np.array_equal(at.at(0.7), film(str(folder / "bar.mov"), "again", 320, 180).at(0.7))
    assert not np.array_equal(at.at(0.7), at.at(0.2))  # back again


def test_a_changed_picture_renders_its_clip_again_wherever_it_lies(folder: Path, tmp_path: Path) -> None:
    before = clip_key(clip(folder, "kind: card, picture: half.png"), "h264", "").parts
    shutil.copy(folder / "half.png", tmp_path / "half.png")
    assert clip_key(clip(tmp_path, "kind: card, picture: half.png"), "h264", "").parts == before
    Image.new("RGB", (90, 60), "#112233").save(tmp_path / "half.png")
    after = clip_key(clip(tmp_path, "kind: card, picture: half.png"), "h264", "").parts
    assert {key for key in before if before[key] != after[key]} == {"subject"}


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ("kind: card", "clips[0] shows nothing; a card needs a title, a text, lines or a picture."),
        ("kind: card, picture: no.png", "lesson.yaml:4:27: there is no picture 'no.png' beside the lesson"),
        ("kind: card, picture: broken.png", "the picture 'broken.png' can't be read; save it once more"),
        ("kind: card, picture: broken.svg", "the picture 'broken.svg' can't be read; save it once more"),
        ("kind: card, picture: bar.mov", "'bar.mov' is no picture that can be shown; save it as PNG"),
        ("kind: film, film: no.mov", "lesson.yaml:4:24: there is no film 'no.mov' beside the lesson"),
        ("kind: film, film: broken.mp4", "the film 'broken.mp4' can't be read as a film (invalid data found"),
        ("kind: film, film: bar.mov, begin: 3", "the film 'bar.mov' lasts 2.0 s; it can't be shown from 3"),
        ("kind: film", "'film' is missing in clips[0]"),
        ("kind: card, lines: [a, b, c, d, e, f, g, h, i]", "a card lists 8 lines at most, not 9"),
    ],
)  # fmt: skip
def test_what_can_not_be_shown_is_said(folder: Path, keys: str, told: str) -> None:
    with pytest.raises(LessonError) as caught:
        clip(folder, keys)
    assert told in str(caught.value)
