"""Small bright spots: found beside a bright edge, to a fraction of a pixel, with errors that grow as they fade."""

from __future__ import annotations

import numpy as np
import pytest

from lessons.footage.picture import spots

AT = (80.3, 35.6)


def wood(brightness: float, ground: float) -> np.ndarray:
    """A strip of wood with a round sight near the bright edge of the rail, of eight by eight samples a pixel."""
    ys, xs = (np.mgrid[0 : 120 * 8, 0 : 160 * 8] + 0.5) / 8
    shade = np.where(np.hypot(xs - AT[0], ys - AT[1]) < 2.5, brightness, ground)
    shade = np.where((ys > 42.0) & (ys < 45.0), 210.0, shade)
    fine = shade.reshape(120, 8, 160, 8).mean((1, 3))
    return np.repeat(fine[..., None], 3, -1).astype(np.float32)


@pytest.mark.parametrize("brightness", [110.0, 150.0, 220.0])
def test_a_sight_beside_a_bright_edge_is_found_where_it_is(brightness: float) -> None:
    found = spots(wood(brightness, 60.0))
    off = np.hypot(*(found.at_px - AT).T)
    assert off.min() < 0.3


def test_fainter_spots_and_pale_ground_have_larger_errors() -> None:
    def error(brightness: float, ground: float) -> float:
        found = spots(wood(brightness, ground))
        return float(found.error_px[np.argmin(np.hypot(*(found.at_px - AT).T))])

    assert error(200.0, 60.0) < error(85.0, 60.0)
    assert error(250.0, 100.0) < error(250.0, 200.0)
