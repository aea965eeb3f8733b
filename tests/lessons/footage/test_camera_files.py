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


def seen_by_gltf(folder: Path, size_px: tuple[int, int]) -> tuple[dict[str, np.ndarray], set[str]]:
    """Pixels of the named nodes by the projection of glTF 2.0 (3.10.3.3), and those before the eye."""
    told = json.loads((folder / "shot.gltf").read_text())
    nodes = {node["name"]: node for node in told["nodes"]}
    world = np.array(nodes["camera"]["matrix"]).reshape(4, 4).T
    lens = told["cameras"][0]["perspective"]
    f = 1 / np.tan(lens["yfov"] / 2)
    found, ahead = {}, set()
    for name, node in nodes.items():
        if "translation" in node:
            x, y, z, _ = np.linalg.inv(world) @ [*node["translation"], 1.0]
            ndc = np.array([f / lens["aspectRatio"] * x, f * y]) / -z
            found[name] = np.array([(ndc[0] + 1) / 2 * size_px[0], (1 - ndc[1]) / 2 * size_px[1]])
            ahead |= {name} if z < -0.1 else set()
    return found, ahead


def test_a_picture_of_the_gltf_camera_bent_by_the_st_map_lies_on_the_footage(made: tuple[Answer, Path]) -> None:
    """What a compositor does: glTF knows neither lens nor principal point, the maps know both."""
    answer, folder = made
    camera, size = answer.match.camera, answer.match.size_px
    assert np.abs(camera.principal_px - camera.size_px / 2).max() > 0.5
    channels = OpenEXR.File(str(folder / "shot.undistort.exr"), separate_channels=True).parts[0].channels
    st = np.stack([channels["R"].pixels, channels["G"].pixels], -1)
    straight, ahead = seen_by_gltf(folder, size)
    measures = answer.match.solved.problem.measures_mm(answer.match.solved.x)
    places = {name: NAMED[name] @ measures for name in NAMED}
    places |= {f"ball-{b.role}": b.centre_mm for b in answer.match.balls if b.role != "others"}
    tried = 0
    for name, place in places.items():
        at = straight[name]
        if name not in ahead or not ((at > 1) & (at < np.array(size) - 1)).all():
            continue
        s, t = cv2.remap(st, (at - 0.5).astype(np.float32)[None, None], None, cv2.INTER_LINEAR)[0, 0]
        assert [s * size[0], (1 - t) * size[1]] == pytest.approx(project(camera, place).tolist(), abs=0.02), name
        tried += 1
    assert tried > 8


def test_gltf_puts_every_named_point_where_the_pinhole_does(made: tuple[Answer, Path]) -> None:
    answer, folder = made
    told = json.loads((folder / "shot.gltf").read_text())
    names = list(NAMED)
    straight, ahead = seen_by_gltf(folder, answer.match.size_px)
    measures = answer.match.solved.problem.measures_mm(answer.match.solved.x)
    true = project(without_lens(answer.match.camera), np.stack([NAMED[name] @ measures for name in names]))
    for name, at in zip(names, true, strict=True):
        assert name not in ahead or np.abs(straight[name] - at).max() < 1e-3
    (matrix,) = [node["matrix"] for node in told["nodes"] if "matrix" in node]
    assert abs(np.linalg.det(np.array(matrix).reshape(4, 4)[:3, :3]) - 1) < 1e-9
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
    flat = np.concatenate([(px - camera.size_px / 2) / camera.focal_px, np.ones((len(px), 1))], -1)
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


def test_opentrackio_projects_every_named_point_to_its_pixel(made: tuple[Answer, Path]) -> None:
    """SMPTE RIS, "Conversion of OpenCV to OpenTrackIO (OpenLensIO) lens calibration parameters", corrected
    2025-09-02: screen coordinates count in mm from the picture's middle, x to the right and y down as its pixels
    do; pixel = (distorted + projection offset) pixels / sensor + pixels / 2; the first and third radial
    coefficients go with the second and fourth power of the undistorted radius.
    """
    answer, folder = made
    told = json.loads((folder / "shot.opentrackio.json").read_text())
    (transform,) = told["transforms"]
    R = np.eye(3)
    for axis, name in ((2, "pan"), (0, "tilt"), (1, "roll")):
        R = R @ cv2.Rodrigues(np.eye(3)[axis] * np.radians(transform["rotation"][name]))[0]
    place = np.array([transform["translation"][axis] for axis in "xyz"])
    lens, body = told["lens"], told["static"]["camera"]
    sensor_mm, pixels = (
        np.array([body[key]["width"], body[key]["height"]])
        for key in ("activeSensorPhysicalDimensions", "activeSensorResolution")
    )
    offset_mm = np.array([lens["projectionOffset"]["x"], lens["projectionOffset"]["y"]])
    assert np.abs(offset_mm).min() > 0.001
    l1, _, l3 = lens["distortion"][0]["radial"]
    measures = answer.match.solved.problem.measures_mm(answer.match.solved.x)
    points = np.stack([matrices @ measures for matrices in NAMED.values()])
    right, ahead, up = ((points / 1000 - place) @ R).T
    undistorted = (lens["pinholeFocalLength"] * np.stack([right, -up]) / ahead).T
    rr = np.sum(undistorted**2, -1, keepdims=True)
    px = (undistorted * (1 + l1 * rr + l3 * rr**2) + offset_mm) * pixels / sensor_mm + pixels / 2
    ours = project(answer.match.camera, points)
    inside = np.isfinite(ours).all(-1) & ((ours > 0) & (ours < pixels)).all(-1)
    assert inside.sum() > 12
    assert np.abs(px - ours)[inside].max() < 1e-6
