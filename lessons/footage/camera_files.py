"""The matched camera for compositors and 3D tools: glTF 2.0, ST maps (OpenEXR) and an OpenTrackIO sample.

Ours is z up in millimetres. glTF is y up in metres, its camera looks along -z: (x, y, z) mm becomes
(x, z, -y) / 1000.
OpenTrackIO is z up in metres, its camera looks along +y. ST maps give for each pixel where to take it from,
from 0 to 1 with the origin at the bottom left.
"""

from __future__ import annotations

import base64
from math import atan, degrees
from pathlib import Path
from typing import Any

import numpy as np
import orjson

from aimgeo.camera import Camera
from aimgeo.landmarks import NAMED, noses
from aimgeo.vectors import Array
from lessons.footage.answer import Answer
from scenes.files import part_path, place, write_whole

SENSOR_MM = 36.0
"""The width of the sensor that focal lengths in mm are told for."""

Y_UP = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])


def write(answer: Answer) -> list[Path]:
    """Write all camera files beside the match file; their paths."""
    file = answer.file.path
    made = [file.with_name(f"{file.stem}.{ending}") for ending in ("gltf", "opentrackio.json")]
    write_whole(made[0], gltf(answer))
    write_whole(made[1], opentrackio(answer))
    for ending, maps in st_maps(answer.match.camera).items():
        made.append(file.with_name(f"{file.stem}.{ending}.exr"))
        _write_exr(made[-1], maps, answer.match.camera)
    return made


def gltf(answer: Answer) -> bytes:
    """glTF 2.0: the camera, the noses as lines, the named points, the balls as spheres."""
    match, camera = answer.match, answer.match.camera
    wide, high = match.size_px
    focal = float(camera.focal_px)
    measures = match.solved.problem.measures_mm(match.solved.x)
    lines = np.concatenate([m @ measures for m in noses(2).values()]) @ Y_UP.T / 1000
    radius = match.clicks.ball_diameter_mm / 2000
    sphere, faces = _sphere()
    blobs = [lines.astype("<f4"), (radius * sphere).astype("<f4"), faces.astype("<u2")]
    data = b"".join(blob.tobytes() for blob in blobs)
    starts = np.cumsum([0, *(blob.nbytes for blob in blobs)]).tolist()
    # columns: right, up, backwards, place
    axes = np.stack([camera.axes[0], -camera.axes[1], -camera.axes[2], camera.eye_mm / 1000], -1)
    matrix = np.eye(4)
    matrix[:3] = Y_UP @ axes
    nodes: list[dict[str, Any]] = [
        {"name": "camera", "camera": 0, "matrix": matrix.T.ravel().tolist()},
        {"name": "noses", "mesh": 0},
    ]
    for ball in match.balls:
        name = ball.role if ball.role != "others" else f"other-{ball.index + 1}"
        nodes.append({"name": f"ball-{name}", "mesh": 1, "translation": _y_up(ball.centre_mm)})
    nodes += [{"name": name, "translation": _y_up(matrices @ measures)} for name, matrices in NAMED.items()]
    found = {
        "asset": {"version": "2.0", "generator": "aimgeo"},
        "scene": 0,
        "scenes": [{"nodes": list(range(len(nodes)))}],
        "nodes": nodes,
        "cameras": [
            {
                "type": "perspective",
                "perspective": {"yfov": 2 * atan(high / 2 / focal), "aspectRatio": wide / high, "znear": 0.01},
            }
        ],
        "meshes": [
            {"name": "noses", "primitives": [{"attributes": {"POSITION": 0}, "mode": 1}]},
            {"name": "ball", "primitives": [{"attributes": {"POSITION": 1}, "indices": 2, "mode": 4}]},
        ],
        "accessors": [
            _accessor(0, 5126, "VEC3", blobs[0]),
            _accessor(1, 5126, "VEC3", blobs[1]),
            _accessor(2, 5123, "SCALAR", blobs[2].reshape(-1, 1)),
        ],
        "bufferViews": [
            {"buffer": 0, "byteOffset": start, "byteLength": blob.nbytes}
            for start, blob in zip(starts, blobs, strict=False)
        ],
        "buffers": [
            {
                "byteLength": len(data),
                "uri": "data:application/octet-stream;base64," + base64.b64encode(data).decode(),
            }
        ],
    }
    return orjson.dumps(found, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE)


def _y_up(place_mm: Array) -> list[float]:
    return (Y_UP @ place_mm / 1000).tolist()


def _accessor(view: int, component: int, kind: str, values: Any) -> dict[str, Any]:
    return {
        "bufferView": view,
        "componentType": component,
        "count": len(values),
        "type": kind,
        "min": values.min(0).tolist(),
        "max": values.max(0).tolist(),
    }


def _sphere(around: int = 32, up: int = 16) -> tuple[Array, Any]:
    """A unit sphere: vertices (n, 3) and triangles (m,) of their numbers."""
    t, p = np.meshgrid(np.linspace(0, 2 * np.pi, around, endpoint=False), np.linspace(0, np.pi, up + 1))
    vertices = np.stack([np.sin(p) * np.cos(t), np.cos(p), np.sin(p) * np.sin(t)], -1).reshape(-1, 3)
    k, j = np.meshgrid(np.arange(up), np.arange(around), indexing="ij")
    a, b = k * around + j, k * around + (j + 1) % around
    faces = np.stack([a, b, a + around, b, b + around, a + around], -1)
    return vertices, faces.ravel()


def st_maps(camera: Camera) -> dict[str, Any]:
    """ST maps (height, width, 2), float32: `undistort` makes footage straight, `distort` bends a straight
    picture.

    The straight picture is that of a pinhole whose principal point is the middle, as glTF's camera sees it.
    """
    wide, high = (int(v) for v in camera.size_px)
    ys, xs = np.mgrid[0:high, 0:wide] + 0.5
    middle = camera.size_px / 2
    assert camera.lens is not None
    made = {}
    for name, change, here, there in (
        ("undistort", camera.lens.bent, middle, camera.principal_px),
        ("distort", camera.lens.straightened, camera.principal_px, middle),
    ):
        px = there + camera.focal_px * change((np.stack([xs, ys], -1) - here) / camera.focal_px)
        st = np.stack([px[..., 0] / wide, 1 - px[..., 1] / high], -1)
        # where the lens shows nothing, a place outside the picture
        made[name] = np.where(np.isfinite(st), st, -1.0).astype(np.float32)
    return made


def _write_exr(path: Path, st: Any, camera: Camera) -> None:
    import OpenEXR

    # rows of right, up and backwards: the camera looks along -z, as is usual for this attribute
    world = np.eye(4, dtype=np.float32)
    world[:3, :3] = np.stack([camera.axes[0], -camera.axes[1], -camera.axes[2]])
    world[:3, 3] = -world[:3, :3] @ camera.eye_mm / 1000
    header = {
        "compression": OpenEXR.ZIP_COMPRESSION,
        "type": OpenEXR.scanlineimage,
        "pinholeFocalLength": float(camera.focal_px) * SENSOR_MM / float(camera.size_px[0]),
        "worldToCamera": np.ascontiguousarray(world.T),
    }
    blue = np.zeros(st.shape[:2], np.float32)
    channels = {"R": np.ascontiguousarray(st[..., 0]), "G": np.ascontiguousarray(st[..., 1]), "B": blue}
    part = part_path(path)
    try:
        OpenEXR.File(header, channels).write(str(part))
        place(part, path)
    finally:
        part.unlink(missing_ok=True)


def opentrackio(answer: Answer) -> bytes:
    """An OpenTrackIO sample (SMPTE, schema 1.0.1): one camera at rest, its lens as Brown-Conrady U-D."""
    match, camera = answer.match, answer.match.camera
    wide, high = match.size_px
    per_px = SENSOR_MM / wide
    F = float(camera.focal_px) * per_px
    lens = camera.lens
    assert lens is not None
    # the axes of a camera that looks along +y with z up, turned by pan about z, tilt about x, roll about y
    right, forward, up = camera.axes[0], camera.axes[2], -camera.axes[1]
    pan = degrees(np.arctan2(-forward[0], forward[1]))
    tilt = degrees(np.arcsin(np.clip(forward[2], -1, 1)))
    roll = degrees(np.arctan2(-right[2], up[2]))
    # from the middle, y down as in pictures (SMPTE RIS, conversion of OpenCV to OpenTrackIO, 2025-09-02)
    offset = (camera.principal_px - np.array([wide, high]) / 2) * per_px
    place = camera.eye_mm / 1000
    found: dict[str, Any] = {
        "static": {
            "camera": {
                "activeSensorPhysicalDimensions": {"width": SENSOR_MM, "height": high * per_px},
                "activeSensorResolution": {"width": wide, "height": high},
            },
        },
        "protocol": {"name": "OpenTrackIO", "version": [1, 0, 1]},
        "sampleId": f"urn:uuid:{_uuid(answer)}",
        "lens": {
            "pinholeFocalLength": F,
            "distortion": [{"model": "Brown-Conrady U-D", "radial": [lens.k1 / F**2, 0.0, lens.k2 / F**4]}],
            "projectionOffset": {"x": float(offset[0]), "y": float(offset[1])},
        },
        "transforms": [
            {
                "translation": {"x": float(place[0]), "y": float(place[1]), "z": float(place[2])},
                "rotation": {"pan": float(pan), "tilt": float(tilt), "roll": float(roll)},
                "id": "camera",
            }
        ],
    }
    if answer.rate is not None:
        found["timing"] = {"mode": "internal", "sampleRate": {"num": answer.rate[0], "denom": answer.rate[1]}}
    return orjson.dumps(found, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE)


def _uuid(answer: Answer) -> str:
    """The same for the same match file."""
    import uuid

    return str(uuid.uuid5(uuid.NAMESPACE_URL, answer.file.path.read_text("utf-8")))
