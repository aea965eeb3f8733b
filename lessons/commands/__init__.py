"""The verbs of the command line. To add one: write its module here, with `command`, and its line in VERBS."""

from __future__ import annotations

VERBS: dict[str, str] = {
    "check": "Read lesson files and report every fault.",
    "plan": "List the clips that a lesson makes.",
    "still": "Write one picture of a clip.",
    "live": "See a lesson while you write it, and move the shot by hand.",
    "render": "Render the clips.",
    "audit": "Decode rendered clips and check that everything stands where it was computed.",
    "solve": "Answer questions about one shot, or a stream of them.",
    "match": "Match the camera of filmed shots, and tell where the balls lie.",
    "table": "Print a lesson's accuracy table.",
    "script": "Write the narration script to read from.",
    "sheets": "Print everything for the table, without rendering.",
    "deliver": "Write timelines, captions, sheets and the review page.",
    "schema": "Write the JSON Schema of lesson files.",
}
