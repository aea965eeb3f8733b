"""Forms for an editor: whole pictures, and pictures without ground that lie over anything."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from scenes.board import (
    Ball,
    Board,
    Element,
    Line,
    Move,
    Pane,
    PlanCamera,
    StepSpan,
    Text,
    Track,
    constant,
)
from scenes.board.brief import Output
from scenes.draw.display import cloth
from scenes.draw.picture import picture as drawn
from scenes.film.forms import EVERY_FRAME, FORMS
from scenes.film.masters import straight
from scenes.film.perform import open_film, perform
from scenes.look.dusk import DUSK

WIDTH, HEIGHT, FRAMES = 192, 108, 40
MASTERS = [name for name, form in EVERY_FRAME.items() if form.is_master]


def board() -> Board:
    """A ball, a ghost that fades in, a line that is drawn and a word, with a hold at either end."""
    camera = PlanCamera(constant(0.0, 0.0, 0.0, float(np.log(0.5))))
    fade = Track((0.0,), (Move(5, 15, (1.0,), "linear"),))
    drawn = Track((0.0,), (Move(12, 24, (1.0,), "linear"),))
    elements = (
        Element("object", "object_ball", Ball((0.0, 0.0, 28.575), 28.575, "object"), ("plan",), "ball"),
        Element("ghost", "ghost_ball", Ball((-57.15, 0.0, 28.575), 28.575, "ghost"), ("plan",), "ghost",
                fade),
        Element("aim", "aim_line", Line(((-90.0, 80.0, 28.575), (60.0, -90.0, 28.575)), "aim_line"), ("plan",),
                "line", drawn=drawn),
        Element("word", "title", Text("Aim", (10.0, 30.0), "title"), (), "text"),
    )  # fmt: skip
    pane = Pane("plan", (0.0, 0.0, float(WIDTH), float(HEIGHT)), "plan", camera, "cloth")
    steps = (StepSpan("ghost ball", 0, 15), StepSpan("aim line", 15, FRAMES))
    return Board(WIDTH, HEIGHT, (25, 1), FRAMES, (pane,), elements, steps)


def write(path: Path, name: str) -> None:
    form = FORMS[name]
    perform(board(), lambda: open_film(path, Output(WIDTH, HEIGHT, (25, 1)), form, None, board()), form.alpha)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The board in every master form."""
    folder = tmp_path_factory.mktemp("masters")
    paths = {}
    for name in MASTERS:
        form = FORMS[name]
        paths[name] = folder / f"clip-{name}{form.extension}"
        write(paths[name], name)
    return paths


def frames(path: Path) -> list[Any]:
    """Every frame; VP9 by the decoder that knows alpha."""
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        if stream.codec_context.name != "vp9":
            return list(container.decode(stream))
        decoder = av.CodecContext.create("libvpx-vp9", "r")
        found = [f for p in container.demux(stream) if p.dts is not None for f in decoder.decode(p)]
        return found + list(decoder.decode(None))


def rgba(frame: Any) -> NDArray[np.uint8]:
    return frame.reformat(format="rgba", src_colorspace="itu709").to_ndarray()


@pytest.mark.parametrize("name", MASTERS)
def test_every_frame_is_there_evenly_spaced_and_tagged(name: str, written: dict[str, Path]) -> None:
    shown = frames(written[name])
    assert len(shown) == FRAMES
    with av.open(str(written[name])) as container:
        stream = container.streams.video[0]
        times = [p.pts for p in container.demux(stream) if p.pts is not None]
        assert stream.average_rate == 25
        assert [round(t * stream.time_base * 25) for t in times] == list(range(FRAMES))
        context = stream.codec_context
        # ITU-T H.273: 1 is BT.709 for primaries and for transfer
        assert (context.color_primaries, context.color_trc) == (1, 1)
        chapters = [
            (c["metadata"]["title"], round(c["start"] * c["time_base"] * 25)) for c in container.chapters()
        ]
        assert chapters == [("ghost ball", 0), ("aim line", 15)]
        if name != "vp9-alpha":
            assert stream.metadata.get("timecode", container.metadata.get("timecode")) == "00:00:00:00"


def test_png_pictures_hold_the_drawing_exactly_and_straight(written: dict[str, Path]) -> None:
    """Straight alpha: over our cloth, composited by Pillow, it is the opaque picture within rounding."""
    ground = Image.fromarray(cloth(WIDTH, HEIGHT, DUSK).copy())
    for k in (0, 9, 20, FRAMES - 1):
        picture = rgba(frames(written["png-alpha"])[k])
        over = np.asarray(Image.alpha_composite(ground, Image.fromarray(picture)), int)[..., :3]
        opaque = np.asarray(drawn(board(), k), int)[..., :3]
        assert np.abs(over - opaque).max() <= 3
        assert picture[..., 3].min() == 0
        assert picture[..., 3].max() == 255


@pytest.mark.parametrize(("name", "mean", "most"), [("prores-alpha", 0.6, 45), ("vp9-alpha", 2.0, 90)])
def test_alpha_forms_lie_over_a_test_card_as_the_exact_pictures_do(
    name: str, mean: float, most: int, written: dict[str, Path]
) -> None:
    """Composited by Pillow. Both codecs lose detail at edges, where the bound is the coarse one."""
    y, x = np.indices((HEIGHT, WIDTH))
    card = np.dstack([np.where((x + y) // 12 % 2, 210, 40)] * 3 + [np.full((HEIGHT, WIDTH), 255)]).astype(np.uint8)
    ground = Image.fromarray(card)
    for k in (0, 9, FRAMES - 1):
        exact, coded = (
            np.asarray(Image.alpha_composite(ground, Image.fromarray(rgba(frames(written[n])[k]))), int)
            for n in ("png-alpha", name)
        )
        difference = np.abs(exact - coded)[..., :3]
        assert difference.mean() < mean
        assert difference.max() <= most


def seen(frame: Any) -> NDArray[np.float64]:
    """RGB 0..255 of a 4:2:2 frame of 10 bits, by the equations of ITU-R BT.709-6 (from memory)."""
    y, u, v = (
        np.frombuffer(p, np.uint16).reshape(-1, p.line_size // 2)[:, : p.width].astype(float) for p in frame.planes
    )
    y = (y - 64) / 876
    cb, cr = ((np.repeat(c, 2, axis=1) - 512) / 896 for c in (u, v))
    red, blue = y + 1.5748 * cr, y + 1.8556 * cb
    green = (y - 0.2126 * red - 0.0722 * blue) / 0.7152
    return np.clip(np.dstack([red, green, blue]), 0, 1) * 255


def test_opaque_prores_is_the_opaque_picture(written: dict[str, Path]) -> None:
    shown = frames(written["prores"])
    assert shown[0].format.name == "yuv422p10le"
    for k in (0, 20, FRAMES - 1):
        difference = seen(shown[k]) - drawn(board(), k)[..., :3]
        assert np.abs(difference).mean() < 1.0
        assert np.abs(difference.mean(axis=(0, 1))).max() < 0.3


def test_held_pictures_are_the_same_packet(written: dict[str, Path]) -> None:
    for name in MASTERS:
        if not FORMS[name].every_picture_alone:
            continue
        with av.open(str(written[name])) as container:
            packets = [bytes(p) for p in container.demux(video=0) if p.pts is not None]
        assert len(set(packets[24:])) == 1
        assert len(set(packets)) > 10


def test_packets_of_the_png_form_are_png_files(written: dict[str, Path]) -> None:
    with av.open(str(written["png-alpha"])) as container:
        first = next(bytes(p) for p in container.demux(video=0))
    with Image.open(io.BytesIO(first)) as picture:
        assert (picture.format, picture.mode, picture.size) == ("PNG", "RGBA", (WIDTH, HEIGHT))


def test_two_runs_write_the_same_bytes(tmp_path: Path, written: dict[str, Path]) -> None:
    for name in MASTERS:
        again = tmp_path / written[name].name
        write(again, name)
        assert again.read_bytes() == written[name].read_bytes()


def test_straight_colours_survive_premultiplying() -> None:
    """c * a / 255 rounded and taken back is within 255 / (2 a) of c: what eight bits can keep."""
    colours = np.random.default_rng(4).integers(0, 256, (5000, 4)).astype(float)
    colours[:, 3] = np.maximum(colours[:, 3], 1)
    held = np.concatenate([np.round(colours[:, :3] * colours[:, 3:] / 255), colours[:, 3:]], axis=1).astype(
        np.uint8
    )
    error = np.abs(straight(held)[:, :3] - colours[:, :3])
    assert (error <= 255 / (2 * colours[:, 3:]) + 0.51).all()
