"""`solve --format text`: the JSON's numbers in a lesson's units, its notations, shots of its clips."""

from __future__ import annotations

import csv
import json
import math
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from scipy.stats import binomtest

from lessons.cli import main

PLACE = ["--object-ball-mm", "2 diamonds, 1 diamond", "--target-mm", "foot-left"]
SHOT = [*PLACE, "--cut-deg", "1/2", "--side", "left", "--distance-mm", "24 in"]
PLAIN = ["--object-ball-mm", "635,317.5", "--target-mm", "foot-left", "--cut-deg", "30", "--side", "left",
         "--distance-mm", "609.6"]  # fmt: skip


def solve(*args: str) -> Result:
    return CliRunner().invoke(main, ["solve", *args])


def test_a_shot_in_a_lessons_notations_is_the_same_shot() -> None:
    told = solve("--format", "text", "--units", "in", *SHOT)
    assert told.exit_code == 0
    assert told.output == solve("--format", "text", "--units", "in", *PLAIN).output
    assert told.output.splitlines()[:6] == [
        "Shot: cut 30.0° to the left, overlap 1/2",
        "  24 in between centres, 21 3/4 in of air",
        "  object ball: 25 in from the foot rail, 12 1/2 in from the left rail (2.000 and 1.000 diamonds)",
        "  cue ball: 49 in from the foot rail, 11 1/2 in from the left rail (3.918 and 0.921 diamonds)",
        "  aim 1 1/8 in to the right of the object ball's centre",
        "  the contact point lies 9/16 in to the right",
    ]


def test_the_cue_may_be_off_by_half_the_window_and_its_tangent_at_the_tip() -> None:
    window_deg = json.loads(solve(*PLAIN).output)["pocket"]["aim_window_deg"]
    text = solve("--format", "text", "--bridge", "10 in", *PLAIN).output
    tip = math.tan(math.radians(window_deg / 2)) * 254
    assert f"off by {math.floor(window_deg / 2 * 100) / 100:.2f}° to either side" in text
    assert f"{math.floor(tip * 100) / 100:.2f} mm at the tip over a bridge of 254 mm" in text


def test_words_for_speeds_and_other_balls() -> None:
    text = solve("--format", "text", *PLAIN, "--speed-mps", "slow", "--others-mm", "900,462; 0 in, 0").output
    assert "Throw, without sidespin: 4.7°" in text
    assert "Way of the object ball: blocked, ball 1 by" in text


@pytest.mark.parametrize(("left", "right"), [(8, 2), (10, 0), (3, 3), (2, 1)])
def test_misses_need_no_shot_and_agree_with_scipys_binomial_test(left: int, right: int) -> None:
    done = solve("--format", "text", "--misses", f"left={left},right={right}")
    assert done.exit_code == 0
    chance = binomtest(left, left + right, 0.5).pvalue
    assert f"in {100 * chance:.1f} of 100 series" in done.output
    assert ("more than chance;" in done.output) == (chance < 0.05)


def test_a_shot_named_by_lesson_and_clip(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_text("title: A\nunits: in\ncuts: 30\nsides: left\nclips: [{kind: table}, {kind: title}]\n", "utf-8")
    text = solve("--format", "text", "--lesson", str(path), "--clip", "table*far")
    assert text.exit_code == 0
    assert "31 1/2 in between centres" in text.output
    answer = json.loads(solve("--lesson", str(path), "--clip", "table*far").output)
    assert answer["shot"]["distance_mm"] == pytest.approx(800.0)
    assert "makes no clip 'tabel'" in solve("--lesson", str(path), "--clip", "tabel").output
    assert "shows no shot" in solve("--lesson", str(path), "--clip", "title").output
    assert solve("--lesson", str(path)).exit_code == 2


@pytest.mark.parametrize(
    ("args", "told"),
    [
        ([*PLACE, "--cut-deg", "95x"], "--cut-deg: '95x' is no cut"),
        ([*PLACE, "--cut-deg", "30", "--distance-mm", "24 yd"], "--distance-mm: '24 yd' is no length"),
        ([*PLACE, "--cut-deg", "30"], "distance_mm is missing."),
        ([*PLACE, "--cut-deg", "14,5"], "a decimal needs a point: 14.5"),
        ([*PLACE, "--cut-deg", "30", "--distance-mm", "60,5 cm"], "a decimal needs a point: 60.5 cm"),
        (["--object-ball-mm", "300,5, 200"], "'300,5, 200' is no place; write two lengths"),
        ([*PLAIN, "--speed-mps", "1,5"], "'1,5' is no speed; write slow, medium, fast or metres a second"),
        ([*PLACE, "--side", "links"], "--side: 'links' is none of its names; known are: left, right"),
        (["--target-mm", "left-foot"], "did you mean 'foot-left'?"),
        (["--misses", "left=8"], "misses needs two counts"),
        ([*PLAIN, "--bridge", "far"], "'far' is no length"),
    ],
)
def test_what_cannot_be_answered_is_a_sentence(args: list[str], told: str) -> None:
    done = solve("--format", "text", *args)
    assert done.exit_code != 0
    assert told in done.output


@pytest.mark.parametrize(
    ("args", "same"),
    [
        (["--table", "8 foot", *SHOT], ["--table", "8ft", *SHOT]),
        ([*PLACE[:2], "--target-mm", "Foot left", *SHOT[4:]], SHOT),
        ([*SHOT[:6], "--side", "Left", *SHOT[8:]], SHOT),
        ([*SHOT, "--speed-mps", "1.5 m/s"], [*SHOT, "--speed-mps", "1.5"]),
        ([*SHOT, "--misses", "8,2"], [*SHOT, "--misses", "left=8,right=2"]),
        ([*SHOT, "--aim-error", "at_ghost_mm=1/8 in"], [*SHOT, "--aim-error", "at_ghost_mm=3.175"]),
        (
            [*SHOT, "--eye", "back_mm=24 in,height_mm=1 ft"],
            [*SHOT, "--eye", "back_mm=609.6,height_mm=304.8,offset_mm=0"],
        ),
        ([*SHOT[:-1], "2 ft"], SHOT),
        (
            ["--object-ball-mm", "25 in, 12 1/2 in", *PLACE[2:], "--cut-deg", "8 sixteenths", *SHOT[6:]],
            SHOT,
        ),
    ],
)
def test_the_same_question_in_other_notations(args: list[str], same: list[str]) -> None:
    one, other = (solve("--format", "text", "--units", "in", *each) for each in (args, same))
    assert one.exit_code == 0
    assert one.output == other.output


def test_a_refusal_is_told_in_inches_too() -> None:
    far = ["--table", "7ft", *SHOT[:-1], "6 ft"]
    assert "on a bed of 78 x 39 in." in solve("--format", "text", "--units", "in", *far).output
    assert "on a bed of 1981.2 x 990.6 mm." in solve("--format", "text", *far).output


def test_the_other_balls_of_a_clip_belong_to_its_shot(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    ball = "others: [{at: [0 mm, 0 mm]}, {at: [900 mm, 460 mm], in_the_way: yes}]"
    path.write_text(f"title: A\nspot: [635 mm, 317.5 mm]\ncuts: 30\n{ball}\nclips: [{{kind: table}}]\n", "utf-8")
    text = solve("--format", "text", "--lesson", str(path), "--clip", "table*left_near").output
    assert "Way of the object ball: blocked, ball 2 by" in text


@pytest.mark.parametrize(
    ("language", "first", "head"),
    [
        ("de", "Stoß: Schnitt 45,0° nach links, Deckung 0,29", "Stöße, mit der Luft"),
        ("es", "Tiro: corte de 45,0° a la izquierda, cobertura 0,29", "Tiros, con el aire"),
    ],
)
def test_a_lessons_shots_are_told_in_its_language(tmp_path: Path, language: str, first: str, head: str) -> None:
    path = tmp_path / "a.yaml"
    path.write_text(f"title: A\nlanguage: {language}\ncuts: 45\nsides: left\nclips: [{{kind: table}}]\n")
    asked = ["--lesson", str(path), "--clip", "table*near", "--speed-mps", "slow", "--misses", "8,2"]
    text = solve("--format", "text", *asked).output
    assert text.splitlines()[0] == first
    english = {"the", "off", "with", "ball", "reaches", "pocket"}
    assert not english & {word.strip(":,.").lower() for word in text.split()}
    assert head in CliRunner().invoke(main, ["plan", str(path)]).output
    assert json.loads(solve(*asked[:4]).output)["methods"]["doubled_offset"]["limit"].startswith(
        "Doubling the offset"
    )


def test_json_takes_and_gives_what_it_did() -> None:
    assert json.loads(solve(*PLAIN[:4], "--cut-deg", "1/2").output)["error"]["code"] == "bad_value"
    assert solve("--format", "json", *PLAIN).output == solve(*PLAIN).output


def test_a_clip_tells_its_lessons_own_methods_as_the_table_does() -> None:
    course = "lessons/course/ways-of-my-own.yaml"
    clip = ("--lesson", course, "--clip", "tip-inside_build-up_cut-30_left_near")
    rows = csv.DictReader(CliRunner().invoke(main, ["table", course, "--format", "csv"]).output.splitlines())
    at = {"cut": "30", "side": "left", "distance": "near", "eye": "chin", "reading": "as_written"}
    x, y = json.loads(solve(*clip).output)["shot"]["object_ball_mm"][:2]
    found = {
        row["method"]: row
        for row in rows
        if at.items() <= row.items()
        and (float(row["object_ball_x_mm"]), float(row["object_ball_y_mm"])) == pytest.approx((x, y))
    }
    names = {
        "edge_and_back": "Edge and half-way back",
        "tip_inside": "A tip inside the ghost",
        "twice_as_seen": "Twice as I see it",
    }
    told = solve("--format", "text", *clip).output.splitlines()
    for method, name in names.items():
        cut, miss = (float(found[method][key]) for key in ("result_cut_deg", "miss_mm"))
        (line,) = (line for line in told if line.startswith(f"  {name}, as it is written: "))
        assert f"cuts {cut:.1f}°, off by {abs(miss):.1f} mm" in line
    # another shot is none of the clip's
    assert (
        "Twice as I see it"
        not in solve("--format", "text", *clip, "--cut-deg", "20", "--side", "left", "--distance-mm", "400").output
    )
    assert "Twice as I see it" in solve("--format", "text", *clip, "--speed-mps", "slow").output


def test_a_cut_to_the_other_side_is_told_as_one(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_text(
        "title: A\ncuts: 10\nsides: right\ndistances: {near: 300 mm}\nown_methods:\n"
        "  over: {points: {far: {edge: object_ball, side: inward, along: centre_line}},\n"
        "    aim: {from: cue_centre, through: far}}\nclips: [{kind: build-up, methods: over}]\n",
        encoding="utf-8",
    )
    told = solve("--format", "text", "--lesson", str(tmp_path / "a.yaml"), "--clip", "over*").output
    (line,) = (line for line in told.splitlines() if line.startswith("  over, as it is written"))
    # the aim passes the centre by a radius on the wrong side: half a ball, near enough
    assert re.search(r"cuts (2[89]|3[0-2])\.\d° to the other side, off by", line), line
    assert told.count("to the other side") == 1
