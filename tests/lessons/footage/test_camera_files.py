"""What compositors and 3D tools get: read back by other libraries it is the camera that was matched."""

from __future__ import annotations

import base64
import json
from pathlib import Path

import cv2
import numpy as np
import OpenEXR
import pytest

from aimgeo.camera import Camera, project
from aimgeo.landmarks import NAMED
from lessons.footage import camera_files, matching
from lessons.footage.answer import Answer
from tests.lessons.footage.clicks import still


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Answer, Path]:
    """A matched still with a strong lens, and the folder of its camera files."""
    folder = tmp_path_factory.mktemp("camera")
    shot = still("action-13")
    answer, _ = matching.answer(shot.match_file(folder, shot.picks(8, 0.5)))
    camera_files.write(answer)
    return answer, folder


def without_lens(camera: Camera) -> Camera:
    """The pinhole alone, its principal point in the middle: what glTF can tell."""
    return Camera(camera.eye_mm, camera.axes, camera.focal_px, camera.size_px / 2, camera.size_px)


def test_gltf_puts_every_named_point_where_the_pinhole_does(made: tuple[Answer, Path]) -> None:
    answer, folder = made
    told = json.loads((folder / "shot.gltf").read_text())
    nodes = {node["name"]: node for node in told["nodes"]}
    world = np.array(nodes["camera"]["matrix"]).reshape(4, 4).T
    lens = told["cameras"][0]["perspective"]
    wide, high = answer.match.size_px
    names = list(NAMED)
    places = np.array([nodes[name]["translation"] for name in names])
    # the projection of the glTF 2.0 specification, 3.10.3.3
    seen = (np.linalg.inv(world) @ np.concatenate([places, np.ones((len(places), 1))], -1).T).T
    f = 1 / np.tan(lens["yfov"] / 2)
    ndc = np.stack([f / lens["aspectRatio"] * seen[:, 0], f * seen[:, 1]], -1) / -seen[:, 2:3]
    px = np.stack([(ndc[:, 0] + 1) / 2 * wide, (1 - ndc[:, 1]) / 2 * high], -1)
    measures = answer.match.solved.problem.measures_mm(answer.match.solved.x)
    true = project(without_lens(answer.match.camera), np.stack([NAMED[name] @ measures for name in names]))
    ahead = seen[:, 2] < -0.1
    assert np.abs(px - true)[ahead].max() < 1e-3
    assert abs(np.linalg.det(world[:3, :3]) - 1) < 1e-9
    buffer = base64.b64decode(told["buffers"][0]["uri"].partition(",")[2])
    assert len(buffer) == told["buffers"][0]["byteLength"]


def test_st_maps_undo_each_other_and_agree_with_opencv(made: tuple[Answer, Path]) -> None:
    answer, folder = made
    camera = answer.match.camera
    assert camera.lens is not None
    wide, high = answer.match.size_px
    maps = {}
    for name in ("undistort", "distort"):
        file = OpenEXR.File(str(folder / f"shot.{name}.exr"), separate_channels=True)
        channels = file.parts[0].channels
        maps[name] = np.stack([channels["R"].pixels, channels["G"].pixels], -1)
        assert maps[name].dtype == np.float32
        assert file.parts[0].header["pinholeFocalLength"] > 0
    xs, ys = np.meshgrid(np.arange(50, wide, 190), np.arange(40, high, 170))
    K = np.array(
        [[camera.focal_px, 0, camera.principal_px[0]], [0, camera.focal_px, camera.principal_px[1]], [0, 0, 1]]
    )
    px = np.stack([xs.ravel() + 0.5, ys.ravel() + 0.5], -1)
    flat = np.concatenate([(px - camera.principal_px) / camera.focal_px, np.ones((len(px), 1))], -1)
    theirs = cv2.projectPoints(
        flat, np.zeros(3), np.zeros(3), K, np.array([camera.lens.k1, camera.lens.k2, 0, 0])
    )[0]
    st = maps["undistort"][ys.ravel(), xs.ravel()]
    ours = np.stack([st[:, 0] * wide, (1 - st[:, 1]) * high], -1)
    shown = st[:, 0] != -1
    assert np.abs(ours - theirs[:, 0])[shown].max() < 1e-3
    inside = shown & (ours > 5).all(-1) & (ours < [wide - 5, high - 5]).all(-1)
    back = cv2.remap(maps["distort"], ours[inside].astype(np.float32)[None] - 0.5, None, cv2.INTER_LINEAR)[0]
    again = np.stack([back[:, 0] * wide, (1 - back[:, 1]) * high], -1)
    assert np.abs(again - px[inside]).max() < 0.05


def test_opentrackio_turns_the_camera_to_where_it_looks(made: tuple[Answer, Path]) -> None:
    answer, folder = made
    told = json.loads((folder / "shot.opentrackio.json").read_text())
    (transform,) = told["transforms"]
    pan, tilt, roll = (np.radians(transform["rotation"][key]) for key in ("pan", "tilt", "roll"))

    def about(axis: int, angle: float) -> np.ndarray:
        return cv2.Rodrigues(np.eye(3)[axis] * angle)[0]

    R = about(2, pan) @ about(0, tilt) @ about(1, roll)
    camera = answer.match.camera
    assert np.allclose(R @ [0, 1, 0], camera.axes[2], atol=1e-9)
    assert np.allclose(R @ [1, 0, 0], camera.axes[0], atol=1e-9)
    F = told["lens"]["pinholeFocalLength"]
    assert pytest.approx(float(camera.focal_px) * 36 / answer.match.size_px[0]) == F
    assert camera.lens is not None
    k1, none, k2 = told["lens"]["distortion"][0]["radial"]
    assert (k1 * F**2, none, k2 * F**4) == pytest.approx((camera.lens.k1, 0.0, camera.lens.k2))
