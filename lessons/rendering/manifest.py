"""manifest.json: everything about the clips beside it, so that nothing else is needed to use them."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import asdict
from importlib import metadata
from pathlib import Path
from typing import Any

import orjson

from lessons.planning.plan import Plan, PlannedClip
from lessons.rendering.cache import font, libraries
from lessons.rendering.folder import Finished
from scenes.board import Board
from scenes.files import write_whole

FILE_NAME = "manifest.json"
SCHEMA = 1


def drawn(clip: PlannedClip, board: Board) -> dict[str, Any]:
    """What the manifest tells about a clip's picture: the shot, the steps' frames, and what stands where when."""
    from scenes.judge.shown import still_stretches

    return {
        "shot": shot_answer(clip),
        "steps": steps(board),
        "still": still_stretches(board),
    }


def shot_answer(clip: PlannedClip) -> dict[str, Any] | None:
    """The clip's shot in the words of `aimgeo solve`; None for a clip without one."""
    if clip.brief.subject.shot is None:
        return None
    from aimgeo.asking.solve import shot_answer as answered

    return answered(clip.brief.subject.shot)


def entry(clip: PlannedClip, file: str, sha256: str, told: Mapping[str, Any]) -> dict[str, Any]:
    """A clip's entry; `told` is what `drawn` tells about the picture, or an entry of the same picture."""
    output = clip.brief.output
    return {
        "name": clip.name,
        "file": file,
        "kind": clip.kind,
        "method": clip.method,
        "cut_deg": clip.cut_deg,
        "side": clip.side,
        "distance_name": clip.distance_name,
        "distance_mm": clip.distance_mm,
        "eye": clip.eye,
        "width_px": output.width_px,
        "height_px": output.height_px,
        "rate": list(output.rate),
        "frames": clip.frames,
        "handle_frames": clip.brief.handle_frames,
        "sha256": sha256,
        "source": {"file": shown_path(clip.place.file), "line": clip.place.line},
        "table": clip.brief.subject.table and asdict(clip.brief.subject.table),
        "target_name": clip.brief.subject.target_name,
        "shot": told["shot"],
        "steps": _translated(clip, told["steps"]),
        "still": told["still"],
    }


def _translated(clip: PlannedClip, told: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The steps with their words in the lesson's other languages, when it has any."""
    bare = [{key: value for key, value in step.items() if key != "translations"} for step in told]
    if not clip.translations:
        return bare
    words = [
        dict(zip(clip.translations, each, strict=True)) for each in zip(*clip.translations.values(), strict=True)
    ]
    return [{**step, "translations": texts} for step, texts in zip(bare, words, strict=True)]


def steps(board: Board) -> list[dict[str, Any]]:
    """The steps of a board as the manifest tells them."""
    return [
        {"name": s.name, "first_frame": s.first_frame, "end_frame": s.end_frame, "narration": s.narration}
        for s in board.steps
    ]


def shown_path(path: str) -> str:
    """A path as the manifest tells it: POSIX, and a letter that is no UTF-8 as a question mark."""
    return os.fsencode(Path(path).as_posix()).decode("utf-8", "replace")


def made_with() -> dict[str, str]:
    """Versions of what made the clips; the font by the start of its file's SHA-256."""
    return {"aimgeo": metadata.version("aimgeo"), **libraries(), "font": f"Inter {font()}"}


def write_manifest(folder: Path, plan: Plan, finished: Mapping[str, Finished]) -> None:
    """Write the manifest of the plan's clips that lie in the folder, in the lesson's order, a clip a line."""
    head = {
        "schema": SCHEMA,
        "lesson": {
            "title": plan.title,
            "identity": plan.identity,
            "source": shown_path(plan.file),
            "language": plan.language,
            "units": plan.units,
        },
        "made_with": made_with(),
    }
    lines = [f'"{key}": '.encode() + orjson.dumps(value) for key, value in head.items()]
    clips = [orjson.dumps(finished[clip.name].entry) for clip in plan.clips if clip.name in finished]
    lines.append(b'"clips": [\n' + b",\n".join(clips) + b"\n]")
    write_whole(folder / FILE_NAME, b"{\n" + b",\n".join(lines) + b"\n}\n")
