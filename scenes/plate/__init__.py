"""The plate: the table and its balls as the eye sees them, painted with OpenGL under the clip's lines."""

from scenes.plate.painter import BallBody, CueStick, NoOpenGLError, PlatePainter

__all__ = ["BallBody", "CueStick", "NoOpenGLError", "PlatePainter"]
