"""Balls' outlines: what is seen of them in part counts less than what is seen whole."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from aimgeo.camera import Camera, camera
from aimgeo.vectors import Array
from lessons.footage.balls import edge_offsets, fine, mean_radius_px, outline_px, shades
from lessons.footage.picture import Picture

RADIUS_MM = 28.575
SIZE = (320, 240)
AT = np.array([10.0, -5.0, RADIUS_MM])
VIEW = camera((-900, 0, 700), (0, 0, 0), np.radians(25), *SIZE)


def test_an_outline_that_is_seen_in_part_has_larger_errors() -> None:
    errors, doubts = [], []
    for part in (2.0, 0.0):  # the whole ball; and one whose lower half has the cloth's colour
        found = fine(shades(_picture(VIEW, part)), VIEW, RADIUS_MM, AT, [])
        assert found is not None
        errors.append(float(found.rim.rest_errors[0]))
        doubts.append(found.rim.doubt)
    assert doubts[0] == 1.0
    assert doubts[1] > 1.5
    assert errors[1] > 1.5 * errors[0]


def test_a_ball_whose_edge_is_soft_is_found_from_farther_off_with_larger_errors() -> None:
    errors = []
    for blur_px in (0.5, 2.0):
        picture = cv2.GaussianBlur(_picture(VIEW), (0, 0), blur_px)
        found = fine(shades(picture.astype(np.float32)), VIEW, RADIUS_MM, AT + np.array([2.0, 1.0, 0.0]), [])
        assert found is not None
        assert found.seen > 0.9
        assert np.hypot(*(found.centre_mm - AT)[:2]) < 1.0
        errors.append(float(np.median(found.rim.error_px)))
    assert errors[1] > errors[0]


def _picture(view: Camera, part: float = 2.0) -> Picture:
    """A grey ball on darker cloth, down to so many radii below its middle."""
    px, _ = outline_px(view, AT, RADIUS_MM, np.linspace(0, 2 * np.pi, 240, endpoint=False))
    middle, radius = px.mean(0), float(np.linalg.norm(px - px.mean(0), axis=-1).mean())
    ys, xs = (np.mgrid[0 : SIZE[1] * 4, 0 : SIZE[0] * 4] + 0.5) / 4
    ball = (np.hypot(xs - middle[0], ys - middle[1]) < radius) & (ys - middle[1] < part * radius)
    shade = np.where(ball, 200.0, 60.0).reshape(SIZE[1], 4, SIZE[0], 4).mean((1, 3))
    return np.repeat(shade[..., None], 3, -1).astype(np.float32)


def test_a_ball_half_out_of_the_picture_is_open_along_what_is_missing() -> None:
    px, _ = outline_px(VIEW, AT, RADIUS_MM, np.linspace(0, 2 * np.pi, 40, endpoint=False))
    middle = round(px[:, 1].mean())
    whole, half = (fine(shades(_picture(VIEW)[:high]), VIEW, RADIUS_MM, AT, []) for high in (SIZE[1], middle))
    assert whole is not None
    assert half is not None
    across, along = half.rim.rest_errors[1:3] / whole.rim.rest_errors[1:3]
    assert across < 2
    assert along > 2 * across


def test_an_outline_whose_places_disagree_has_larger_errors() -> None:
    px, _ = outline_px(VIEW, AT, RADIUS_MM, np.linspace(0, 2 * np.pi, 40, endpoint=False))
    ys, xs = (np.mgrid[0 : SIZE[1], 0 : SIZE[0]] + 0.5) - px.mean(0)[::-1, None, None]
    lumps = 1 + 0.06 * np.sin(5 * np.arctan2(ys, xs))
    lumpy = np.where(np.hypot(xs, ys) < lumps * mean_radius_px(VIEW, AT, RADIUS_MM), 200.0, 60.0)
    found = fine(shades(np.repeat(lumpy[..., None], 3, -1).astype(np.float32)), VIEW, RADIUS_MM, AT, [])
    assert found is not None
    assert found.seen > 0.86
    assert found.rim.doubt > 1.3


@pytest.mark.parametrize(("left", "right"), [(0.9, 0.05), (0.05, 0.6), (0.3, 0.2)])
def test_light_is_blurred_before_it_is_coded_which_moves_no_edge(left: float, right: float) -> None:
    at_x = 100.25
    xs = np.broadcast_to((np.arange(SIZE[0] * 4) + 0.5) / 4, (SIZE[1] * 4, SIZE[0] * 4))
    light = np.where(xs[..., None] < at_x, np.full(3, left), np.full(3, right))
    px = np.stack([np.full(20, at_x), np.linspace(50, 150, 20)], -1)
    offsets, _, _ = edge_offsets(shades(_coded(light, 1.2)), px, np.tile([1.0, 0.0], (20, 1)), 5.0)
    assert np.abs(offsets).max() < 0.08


def test_a_polished_rim_that_mirrors_the_cloth_behind_does_not_draw_its_outline_in() -> None:
    ball, cloth = np.array([0.03, 0.05, 0.5]), np.array([0.1, 0.35, 0.1])
    px, _ = outline_px(VIEW, AT, RADIUS_MM, np.linspace(0, 2 * np.pi, 240, endpoint=False))
    light = _light(VIEW, ball, cloth)
    far = _out_from_middle(px)
    radius = mean_radius_px(VIEW, AT, RADIUS_MM)
    # Fresnel's equations for unpolarized light, refractive index 1.5, by the angle of incidence
    cos = np.sqrt(np.clip(1 - (far / radius) ** 2, 0.0, 1.0))
    inside = np.sqrt(1 - (1 - cos**2) / 1.5**2)
    across, along = (cos - 1.5 * inside) / (cos + 1.5 * inside), (1.5 * cos - inside) / (1.5 * cos + inside)
    share = ((across**2 + along**2) / 2)[..., None]
    shiny = np.where((far < radius)[..., None], light + share * (cloth - light), light)
    polished = _out_px(_coded(shiny, 0.8))
    assert abs(polished) < 0.12


def test_the_edge_of_a_shadow_before_the_ball_is_not_its_foot() -> None:
    """A ball that is darker and darker down to the cloth, in a shadow that grows lighter away from it."""
    px, _ = outline_px(VIEW, AT, RADIUS_MM, np.linspace(0, 2 * np.pi, 240, endpoint=False))
    away = _out_from_middle(px) / mean_radius_px(VIEW, AT, RADIUS_MM)
    ys = (np.mgrid[0 : SIZE[1] * 4, 0 : SIZE[0] * 4][0] + 0.5) / 4
    below = (ys - px[:, 1].mean()) / mean_radius_px(VIEW, AT, RADIUS_MM)
    lit = np.where(away < 1, np.clip(1 - below / 1.3, 0.03, 1.0), np.where(away < 1.2, 1.5 * away - 1.47, 1.0))
    light = np.where((away < 1) | (below > 0.3), lit, 1.0)[..., None]
    light = light * _light(VIEW, np.array([0.1, 0.15, 0.5]), np.array([0.1, 0.4, 0.1]))
    found = fine(shades(_coded(light, 0.8)), VIEW, RADIUS_MM, AT, [])
    assert found is not None
    foot = found.rim.only(found.rim.foot > 0)
    real, _ = outline_px(VIEW, AT, RADIUS_MM, foot.angles)
    assert len(real) > 5
    assert np.median(np.sum((foot.at_px - real) * foot.normals, -1)) < 0.6


@pytest.mark.parametrize("beside", [0.9, 1.05, 1.15])
def test_a_cushion_beside_a_ball_of_the_cloths_colour_does_not_draw_it_aside(beside: float) -> None:
    """A bright strip, upright in the picture, behind a ball or so many radii beside its middle."""
    px, _ = outline_px(VIEW, AT, RADIUS_MM, np.linspace(0, 2 * np.pi, 240, endpoint=False))
    radius = mean_radius_px(VIEW, AT, RADIUS_MM)
    at_x = px[:, 0].mean() + beside * radius
    xs = (np.mgrid[0 : SIZE[1] * 4, 0 : SIZE[0] * 4][1] + 0.5) / 4
    strip = (xs > at_x) & (_out_from_middle(px) > radius)
    light = np.where(strip[..., None], 0.8, _light(VIEW, np.array([0.14, 0.42, 0.2]), np.array([0.1, 0.4, 0.1])))
    line = np.array([[[at_x, 0.0], [at_x, SIZE[1]]]])
    found = fine(shades(_coded(light, 0.8)), VIEW, RADIUS_MM, AT - [0.0, 5.0, 0.0], [], 0.0, line)
    assert found is not None
    assert found.seen > 0.7
    assert np.hypot(*(found.centre_mm - AT)[:2]) < 0.6


def test_lines_all_along_an_outline_are_not_left_out() -> None:
    px, _ = outline_px(VIEW, AT, RADIUS_MM, np.linspace(0, 2 * np.pi, 60))
    around = np.stack([px[:-1], px[1:]], 1)
    found = fine(shades(_picture(VIEW)), VIEW, RADIUS_MM, AT, [], 0.0, around)
    assert found is not None
    assert found.seen > 0.9


def _out_px(picture: Picture) -> float:
    """How far out an outline is found on the average, its foot left out."""
    found = fine(shades(picture), VIEW, RADIUS_MM, AT, [])
    assert found is not None
    real, _ = outline_px(VIEW, AT, RADIUS_MM, found.rim.angles)
    out = np.sum((found.rim.at_px - real) * found.rim.normals, -1)
    return float(np.mean(out[found.rim.foot == 0]))


def _out_from_middle(px: Array) -> Array:
    """Distances from an outline's middle, four by four to a pixel."""
    ys, xs = (np.mgrid[0 : SIZE[1] * 4, 0 : SIZE[0] * 4] + 0.5) / 4
    return np.asarray(np.hypot(xs - px[:, 0].mean(), ys - px[:, 1].mean()))


def _light(view: Camera, ball: Array, cloth: Array) -> Array:
    """Linear light (height, width, 3) of a ball of one colour on cloth of another, four by four to a pixel."""
    px, _ = outline_px(view, AT, RADIUS_MM, np.linspace(0, 2 * np.pi, 240, endpoint=False))
    return np.where((_out_from_middle(px) < mean_radius_px(view, AT, RADIUS_MM))[..., None], ball, cloth)


def _coded(light: Array, blur_px: float) -> Picture:
    """Light as a camera shows it: blurred, taken by pixels, coded as sRGB (IEC 61966-2-1)."""
    blurred = cv2.GaussianBlur(light, (0, 0), 4 * blur_px).reshape(SIZE[1], 4, SIZE[0], 4, 3).mean((1, 3))
    shown = np.where(blurred <= 0.0031308, 12.92 * blurred, 1.055 * blurred ** (1 / 2.4) - 0.055)
    return np.round(255 * shown).astype(np.float32)
