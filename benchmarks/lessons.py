"""Lesson files to measure with: short steps, so that a run takes minutes and not hours."""

from __future__ import annotations

MIXED = """\
title: Mixed clips
cuts: [3/4, 5/8, 1/2]
distances: {near: 300 mm, far: 1200 mm}
output: {size: 1080p, rate: 60}
speech: {words_a_minute: 300, pause: 0.1}
clips:
  - {kind: title, under: What a batch is like.}
  - {kind: section, over: Part 1, title: Where to aim}
  - {kind: table, cuts: [3/4, 1/2]}
  - {kind: section, over: Part 2, title: Step by step}
  - {kind: build-up, methods: [ghost-ball, doubled-offset], cuts: 3/4, sides: left}
  - {kind: build-up, methods: [contact-points, ball-fractions, fixed-marks], cuts: 1/2, sides: right}
  - {kind: aim-error, cuts: [3/4, 1/2], sides: left}
  - {kind: summary, title: Three cuts}
"""
"""Twenty-four clips of the kinds that are drawn in lines, all five methods among them."""

EYE = """\
title: Eye
cuts: [1/2]
sides: [left]
distances: {near: 600 mm}
eyes:
  low: {back: 600 mm, height: 300 mm}
  high: {back: 800 mm, height: 900 mm}
output: {size: 1080p, rate: 60}
speech: {words_a_minute: 300, pause: 0.1}
clips:
  - {kind: players-eye, methods: [ghost-ball], eyes: low}
  - {kind: moving-eye}
"""


def cards(count: int, second: str = "Second") -> str:
    """A lesson of so many small, different cards; `second` is the title of one of them."""
    lines = [
        "title: Cards",
        "cuts: [1/2]",
        "distances: {near: 300 mm}",
        "output: {size: 320x180, rate: 24}",
        "speech: {words_a_minute: 300, pause: 0.1}",
        "clips:",
    ]
    lines += [f"  - {{kind: section, over: Part {k}, title: Card {k}, name: card-{k}}}" for k in range(count - 1)]
    lines.append(f"  - {{kind: section, over: The last, title: {second}, name: card-last}}")
    return "\n".join(lines) + "\n"
