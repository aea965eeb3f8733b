"""The server: who is let in, what a save does, and that the newest wish wins."""

from __future__ import annotations

import http.client
import json
import os
import random
import threading
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from websockets.exceptions import ConnectionClosed, InvalidStatus

from lessons.live.desk import FILE, WISH, Desk
from lessons.live.named import named_files
from lessons.live.serve import HOST
from lessons.live.server import FILES, MOST_A_SECOND, MOST_PAGES, Line, _is_hand
from lessons.live.session import Session, unpacked
from tests.lessons.live.running import BUILD_UP, EYE, LESSON, TOKEN, WAIT_S, Live, Wire, wait_for


def asked(live: Live, path: str, host: str | None = None) -> http.client.HTTPResponse:
    connection = http.client.HTTPConnection(HOST, live.port, timeout=WAIT_S)
    connection.putrequest("GET", path, skip_host=True)
    connection.putheader("Host", host or f"{HOST}:{live.port}")
    connection.endheaders()
    return connection.getresponse()


# ------------------------------------------------------------------ who is let in


def test_only_the_pages_own_files_are_served_and_each_with_its_guards(live: Live) -> None:
    for name in FILES:
        answer = asked(live, f"/{name}")
        assert answer.status == 200
        policy = answer.headers["Content-Security-Policy"]
        assert policy.startswith("default-src 'none'")
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert answer.headers["Cross-Origin-Resource-Policy"] == "same-origin"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Referrer-Policy"] == "no-referrer"
        assert answer.headers["Cache-Control"] == "no-store"
        assert TOKEN.encode() not in answer.read()


@pytest.mark.parametrize(
    "path", ["/monday.yaml", "/../monday.yaml", "/%2e%2e/monday.yaml", "/page/../server.py", "/server.py", "/a/b"]
)
def test_no_other_path_leads_anywhere(live: Live, path: str) -> None:
    assert asked(live, path).status == 404


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:1", "localhost.evil.example:80"])
def test_a_foreign_host_is_refused(live: Live, host: str) -> None:
    assert asked(live, "/", host).status == 403
    with pytest.raises((InvalidStatus, ConnectionClosed)):
        live.socket(additional_headers={"Host": host}).recv(timeout=WAIT_S)


@pytest.mark.parametrize("origin", [None, "null", "http://evil.example", "https://{own}", "http://127.0.0.1:1"])
def test_a_foreign_or_missing_origin_is_refused(live: Live, origin: str | None) -> None:
    with pytest.raises((InvalidStatus, ConnectionClosed)):
        live.socket(origin=origin and origin.format(own=f"{HOST}:{live.port}")).recv(timeout=WAIT_S)


@pytest.mark.parametrize("first", ['{"token": "wrong"}', "{}", "[]", "no JSON", '{"token": 5}', '{"do": "show"}'])
def test_without_the_token_nothing_is_told(live: Live, first: str) -> None:
    with live.socket() as socket:
        socket.send(first)
        with pytest.raises(ConnectionClosed) as closed:
            socket.recv(timeout=WAIT_S)
        assert closed.value.rcvd is not None
        assert closed.value.rcvd.code == 4403


def test_localhost_is_this_machine_as_well(live: Live) -> None:
    assert asked(live, "/", f"localhost:{live.port}").status == 200
    with live.socket(origin=f"http://localhost:{live.port}") as socket:
        socket.send(json.dumps({"token": TOKEN}))
        assert socket.recv(timeout=WAIT_S)


def test_a_fifth_page_is_refused_and_a_closed_one_makes_room(live: Live) -> None:
    pages = [live.page() for _ in range(MOST_PAGES)]
    for page in pages:
        page.next("lesson")
    with live.socket() as socket, pytest.raises(ConnectionClosed) as closed:
        socket.recv(timeout=WAIT_S)
    assert closed.value.rcvd is not None
    assert closed.value.rcvd.code == 4429
    pages.pop().close()
    wait_for(lambda: live.server.open_pages < MOST_PAGES)
    extra = live.page()
    extra.next("lesson")
    for page in (*pages, extra):
        page.close()


def test_a_message_that_is_too_large_or_too_many_end_the_page(live: Live) -> None:
    page = live.page()
    page.next("lesson")
    page.wish(do="show", clip="x" * 70_000)
    with pytest.raises(ConnectionClosed):
        page.next("never")
    page = live.page()
    page.next("lesson")
    with pytest.raises(ConnectionClosed):
        flooded(page)


def test_who_says_nothing_is_shown_out_and_takes_no_room(live: Live, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lessons.live.server.HELLO_S", 0.1)
    with live.socket() as socket, pytest.raises(ConnectionClosed):
        socket.recv(timeout=WAIT_S)
    wait_for(lambda: live.server.open_pages == 0)


def test_a_text_may_be_as_long_as_a_lesson_and_no_longer(live: Live) -> None:
    page = live.page()
    page.next("lesson")
    page.wish(do="draft", text=LESSON + "# long\n" * 10_000)
    assert page.next("lesson", lambda head: head["is_draft"])["text"].endswith("# long\n")
    page.wish(do="draft", text="#" * 1_150_000)
    with pytest.raises(ConnectionClosed):
        page.next("never")
    assert live.path.read_text("utf-8") == LESSON


def flooded(page: Wire) -> None:
    for _ in range(40 * MOST_A_SECOND):
        page.wish(do="nothing")
    page.next("never")


@pytest.mark.parametrize(
    "wish",
    ["[1]", "null", '"x"', "{", '{"do": 5}', '{"do": "show", "clip": 7, "frame": "x", "size_px": [1, "a"]}',
     '{"do": "show", "clip": "../../etc/passwd", "frame": 1e300}',
     '{"do": "ahead", "clip": [], "first": -5, "count": {}}',
     '{"do": "thumb", "clip": null, "width_px": -1}', '{"do": "move", "handle": 3, "at_px": ["a"]}',
     '{"do": "show", "frame": NaN}', "[" * 50_000],
)  # fmt: skip
def test_what_is_no_wish_changes_nothing_and_ends_nothing(wire: Wire, wish: str) -> None:
    wire.socket.send(wish)
    wire.wish(do="show", clip=BUILD_UP, frame=3, n=77)
    assert wire.next("frame", lambda head: head.get("n") == 77)["frame"] == 3


# ------------------------------------------------------------------ the newest wish


def wishes() -> list[dict[str, Any]]:
    frames = enumerate(random.Random(1).sample(range(600), 200), 1)
    return [{"do": "show", "clip": BUILD_UP, "frame": frame, "n": n} for n, frame in frames]


def answered(wire: Wire) -> list[int]:
    return [head["n"] for head in wire.heard if head["is"] == "frame" and head["n"]]


@pytest.mark.parametrize("holds", [1, 2])
def test_of_two_hundred_wishes_at_most_three_are_answered_the_last_one_last(
    live: Live, wire: Wire, monkeypatch: pytest.MonkeyPatch, holds: int
) -> None:
    """The painter is held at its first frames, in turn, while all the others are heard."""
    heard, released, lay_down, show = [], threading.Event(), live.server.lay_down, live.server.session.show
    begun = threading.Semaphore(0)

    def noted(wish: dict[str, Any], number: int, line: Line) -> None:
        lay_down(wish, number, line)
        heard.append(wish["n"])

    def held(*args: Any, **more: Any) -> None:
        begun.release()
        released.wait(WAIT_S)
        show(*args, **more)

    monkeypatch.setattr(live.server, "lay_down", noted)
    monkeypatch.setattr(live.server.session, "show", held)
    for wish in wishes()[: holds - 1]:
        wire.wish(**wish)
        assert begun.acquire(timeout=WAIT_S)  # nothing else was at work: it is begun at once
    for wish in wishes()[holds - 1 :]:
        wire.wish(**wish)
    wait_for(lambda: len(heard) == 200)
    released.set()
    wire.next("frame", lambda head: head["n"] == 200)
    wire.quiet()
    assert len(answered(wire)) <= 3
    assert answered(wire)[-1] == 200
    assert answered(wire) == sorted(answered(wire))


def test_of_two_hundred_wishes_that_come_at_once_to_an_idle_painter_only_the_last_is_begun(
    live: Live, wire: Wire
) -> None:
    wire.quiet()
    socket = wire.socket
    for wish in wishes():
        socket.protocol.send_text(json.dumps(wish).encode())
    socket.socket.sendall(b"".join(socket.protocol.data_to_send()))
    wire.next("frame", lambda head: head["n"] == 200)
    wire.quiet()
    assert len(answered(wire)) <= 3
    assert answered(wire)[-1] == 200


def test_parts_come_once(wire: Wire) -> None:
    wire.wish(do="show", clip=BUILD_UP, frame=200, n=1)
    wire.next("frame", lambda head: head["n"] == 1)
    wire.wish(do="show", clip=EYE, frame=200, n=2)
    wire.next("frame", lambda head: head["n"] == 2)
    wire.wish(do="show", clip=BUILD_UP, frame=200, n=3)
    again = wire.next("frame", lambda head: head["n"] == 3)
    assert again["parts"] == []
    assert len(again["shown"]) > 3


# ------------------------------------------------------------------ saves


def heard_by(session: Session) -> tuple[list[dict[str, Any]], Any]:
    heard: list[dict[str, Any]] = []
    page = session.join(1, lambda message: heard.append(unpacked(message)[0]))
    return heard, page


def test_a_newer_save_ends_the_plan_of_an_older_one_after_its_picture(lesson: Path) -> None:
    session = Session(lesson)
    heard, page = heard_by(session)
    session.reload(LESSON.encode())
    session.show(page, BUILD_UP, 200)
    good = session.good
    del heard[:]
    session.is_overtaken = lambda: True
    older = LESSON.replace("300 mm", "310 mm", 1)
    session.reload(older.encode())
    # what is looked at is shown of it, and no more is done about it
    assert [head["is"] for head in heard] == ["frame"]
    assert session.good is good
    session.is_overtaken = lambda: False
    session.reload(LESSON.replace("300 mm", "320 mm", 1).encode())
    told = [head for head in heard if head["is"] == "lesson"]
    assert ["320 mm" in head["text"] for head in told] == [True]
    assert page.clip == BUILD_UP


def test_a_save_whose_plan_was_given_up_is_planned_when_nothing_newer_came(lesson: Path) -> None:
    session = Session(lesson)
    session.reload(LESSON.encode())
    session.is_overtaken = lambda: True
    text = LESSON.replace("300 mm", "310 mm", 1).encode()
    assert session.reload(text)
    session.is_overtaken = lambda: False
    assert session.reload(text)
    assert session.read is not None
    assert "310 mm" in session.read.text
    assert not session.reload(text)


def test_after_a_plan_given_up_a_fault_brings_back_the_last_good_picture(lesson: Path) -> None:
    session = Session(lesson)
    heard, page = heard_by(session)
    session.reload(LESSON.encode())
    session.show(page, BUILD_UP, 200)
    first = heard[-1]["key"]
    session.is_overtaken = lambda: True
    session.reload(LESSON.replace("300 mm", "310 mm", 1).encode())
    assert heard[-1]["key"] != first
    session.is_overtaken = lambda: False
    session.reload(LESSON.replace("cuts: [", "cutz: [").encode())
    assert heard[-1]["is"] == "frame"
    assert heard[-1]["key"] == first


def test_of_a_hundred_saves_in_a_row_the_last_is_told_last_and_most_are_let_go(live: Live, wire: Wire) -> None:
    for k in range(100):
        saves(live.path, LESSON.replace("300 mm", f"{300 + k} mm", 1), "renamed over")
    wire.next("lesson", lambda head: "399 mm" in head["text"])
    wire.quiet()
    told = [head["text"] for head in wire.heard if head["is"] == "lesson" and "mm, far" in head["text"]]
    assert "399 mm" in told[-1]
    assert len(told) < 60


def saves(path: Path, text: str, how: str) -> None:
    """As editors save: in place, renamed over, the old one renamed away first, emptied first."""
    if how == "in place":
        path.write_text(text, encoding="utf-8")
    elif how == "renamed over":
        part = path.with_suffix(".tmp")
        part.write_text(text, encoding="utf-8")
        os.replace(part, path)
    elif how == "backup":
        os.replace(path, path.with_suffix(".yaml~"))
        path.write_text(text, encoding="utf-8")
    else:
        path.write_bytes(b"")
        path.write_text(text, encoding="utf-8")


@pytest.mark.parametrize("how", ["in place", "renamed over", "backup", "emptied"])
def test_a_save_is_shown_however_the_editor_saves(live: Live, wire: Wire, how: str) -> None:
    for k in (310, 320):
        saves(live.path, LESSON.replace("300 mm", f"{k} mm", 1), how)
        now = f"{k} mm"
        told = wire.next("lesson", lambda head, now=now: now in head.get("text", ""))  # type: ignore[misc]
        assert told["faults"] == []
        # the picture comes first, then what is said about it
        assert wire.heard[-2]["is"] == "frame"
        assert wire.heard[-2]["clip"] == BUILD_UP
    assert not any(head.get("is_missing") for head in wire.heard)


def test_faults_are_told_in_place_and_the_last_good_clips_stay(live: Live, wire: Wire) -> None:
    saves(live.path, LESSON.replace("cuts: [", "cutz: ["), "renamed over")
    told = wire.next("lesson", lambda head: bool(head.get("faults")))
    assert (told["faults"][0]["line"], told["faults"][0]["column"]) == (3, 1)
    assert "did you mean 'cuts'" in told["faults"][0]["sentence"]
    assert len(told["clips"]) > 3
    assert told["shown_at"] < told["read_at"]
    wire.wish(do="show", clip=BUILD_UP, frame=40, n=9)
    assert wire.next("frame", lambda head: head["n"] == 9)["frame"] == 40
    saves(live.path, LESSON, "renamed over")
    assert wire.next("lesson", lambda head: not head["faults"])["shown_at"] >= told["read_at"]


def test_a_file_that_goes_away_is_waited_for(live: Live, wire: Wire) -> None:
    os.unlink(live.path)
    assert wire.next("lesson", lambda head: head["is_missing"])["clips"]
    live.path.write_text(LESSON.replace("700 mm", "650 mm"), encoding="utf-8")
    assert not wire.next("lesson", lambda head: "650 mm" in head["text"])["is_missing"]


def test_after_a_save_the_same_part_of_the_same_step_is_shown(live: Live, wire: Wire) -> None:
    wire.wish(do="show", clip=BUILD_UP, frame=500, n=1)
    wire.next("frame", lambda head: head["n"] == 1)
    slower = LESSON + "speech: {words_a_minute: 75}\n"
    saves(live.path, slower, "renamed over")
    shown = wire.next("frame", lambda head: head["why"] == "save")
    told = wire.next("clip")
    step = next(s for s in told["steps"] if s["first"] <= shown["frame"] < s["end"])
    good = live.server.session.good
    assert good is not None
    plan = good.plan
    assert plan is not None
    assert shown["frame"] > 500
    assert step["name"] in [s.name for s in plan.clips[2].brief.steps]


def test_a_changed_cut_renames_the_clip_and_the_page_stays_with_it(live: Live, wire: Wire) -> None:
    text = LESSON.replace("cuts: [3/4, 1/2]  ", "cuts: [3/4, 11/20]").replace("cuts: 1/2", "cuts: 11/20")
    saves(live.path, text, "in place")
    assert wire.next("frame", lambda head: head["why"] == "save")["clip"] == BUILD_UP.replace("1-2", "11-20")


def test_two_pages_each_stay_where_they_are(live: Live, wire: Wire) -> None:
    other = live.page(clip=EYE, frame=20, size_px=[320, 180])
    assert other.next("frame")["clip"] == EYE
    saves(live.path, LESSON.replace("700 mm", "640 mm"), "in place")
    assert other.next("frame", lambda head: head["why"] == "save")["clip"] == EYE
    assert wire.next("frame", lambda head: head["why"] == "save")["clip"] == BUILD_UP
    other.close()


def test_a_file_of_methods_beside_the_lesson_is_watched_and_its_faults_bear_its_name(
    tmp_path: Path,
) -> None:
    (tmp_path / "own").mkdir()
    ways = tmp_path / "own" / "ways.yaml"
    text = (
        "own_methods:\n  past-it:\n    points:\n"
        "      mark: {from: ghost_centre, toward: object_centre, by: 0.2 ball}\n"
        "    aim: {from: cue_centre, through: mark}\n    steps:\n      - {show: mark, title: Look at it}\n"
    )
    ways.write_text(text)
    path = tmp_path / "monday.yaml"
    path.write_text(
        "title: A\nmethods_files: own/ways.yaml\noutput: {size: 320x180, rate: 24}\nclips:\n"
        "  - {kind: build-up, methods: past-it, cuts: 1/2, sides: left, distances: near}\n"
    )
    live = Live(path)
    wire = live.page(size_px=[320, 180])
    wire.next("frame")
    ways.write_text(text.replace("0.2 ball", "0.3 ball"))
    wire.next("frame", lambda head: head["why"] == "save")
    ways.write_text(text.replace("toward:", "towards:"))
    told = wire.next("lesson", lambda head: bool(head.get("faults")))
    assert told["faults"][0]["file"] == "ways.yaml"
    assert told["faults"][0]["line"] == 4
    ways.write_text(text)
    wire.next("lesson", lambda head: not head["faults"])
    wire.close()
    live.stop()


def test_a_comment_changes_no_key_and_a_distance_those_that_show_it(live: Live, wire: Wire) -> None:
    def keys() -> dict[str, str]:
        told = next(head for head in reversed(wire.heard) if head["is"] == "lesson" and head.get("clips"))
        return {clip["name"]: clip["key"] for clip in told["clips"]}

    before = keys()
    saves(live.path, LESSON.replace("# overlaps", "# of the ball"), "in place")
    wire.next("lesson", lambda head: "of the ball" in head["text"])
    assert keys() == before
    saves(live.path, LESSON.replace("700 mm", "690 mm"), "in place")
    wire.next("lesson", lambda head: "690 mm" in head["text"])
    changed = {name for name, key in keys().items() if before[name] != key}
    assert changed == {name for name in before if "_far" in name}


def test_a_text_names_files_and_these_name_others(tmp_path: Path) -> None:
    (tmp_path / "looks").mkdir()
    (tmp_path / "looks" / "house.yaml").write_text("look: {logo: mark.svg, type: {font: ours.otf}}\n")
    (tmp_path / "shot.yaml").write_text("footage: films/shot-3.mov\n")
    path = tmp_path / "monday.yaml"
    text = (
        "title: Version 2.5 of it, e.g. a new one\nmethods_files: [own/ways.yaml]\n"
        "output: {look: looks/house.yaml, size: 640x360}\nrecordings: {file: said.wav}\nclips:\n"
        "  - {kind: card, picture: pictures/table one.png}\n  - {kind: on-footage, footage: shot.yaml}\n"
    )
    found = named_files(path, text.encode())
    assert found is not None
    assert {file.relative_to(tmp_path.resolve()).as_posix() for file in found} >= {
        "own/ways.yaml", "looks/house.yaml", "looks/mark.svg", "looks/ours.otf", "said.wav", "monday.lengths.json",
        "pictures/table one.png", "shot.yaml", "shot.match.json", "films/shot-3.mov",
    }  # fmt: skip
    assert named_files(path, b"cuts: [") is None


def test_looks_and_pictures_are_watched_wherever_they_lie(tmp_path: Path) -> None:
    for folder in ("lessons", "house"):
        (tmp_path / folder).mkdir()
    look, picture = tmp_path / "house" / "look.yaml", tmp_path / "lessons" / "table.png"
    look.write_text("look: {based_on: dusk}\n")
    Image.new("RGB", (40, 30), "#204020").save(picture)
    path = tmp_path / "lessons" / "monday.yaml"
    path.write_text(
        "title: A\noutput: {size: 320x180, rate: 24, look: ../house/look.yaml}\n"
        "clips:\n  - {kind: card, picture: table.png}\n"
    )
    live = Live(path)
    wire = live.page(size_px=[320, 180])
    keys = [wire.next("frame")["key"]]
    Image.new("RGB", (60, 30), "#402020").save(picture)
    keys.append(wire.next("frame", lambda head: head["why"] == "save")["key"])
    look.write_text("look: {based_on: dusk, colours: {cloth: '#17403A'}}\n")
    told = wire.next("lesson", lambda head: bool(head["faults"]) or head["clips"][0]["key"] not in keys)
    assert told["faults"] == []
    look.write_text("look: {based_onn: dusk}\n")
    told = wire.next("lesson", lambda head: bool(head["faults"]))
    assert told["faults"][0]["file"] == "look.yaml"
    assert len(set(keys)) == 2
    wire.close()
    live.stop()


def test_while_a_save_is_planned_the_hand_goes_on_and_what_it_moved_stays(lesson: Path) -> None:
    session, told = Session(lesson), list[dict[str, Any]]()
    page = session.join(1, lambda message: told.append(unpacked(message)[0]))
    session.reload(LESSON.encode())
    session.show(page, BUILD_UP, 0, (320, 180))
    session.hand(page, {})
    told.clear()

    def once() -> None:
        session.meanwhile = lambda: None
        session.hand(page, {"by": "move", "grip": "cue_ball", "toward": [-2, 0], "stride": 2, "n": 7})

    session.meanwhile = once
    session.reload(LESSON.replace("700 mm", "710 mm").encode())
    kinds = [(head["is"], head.get("why")) for head in told]
    assert kinds.index(("frame", "hand")) < kinds.index(("lesson", None))
    session.hand(page, {})
    assert page.grasp is not None
    assert page.grasp.lesson.keys.distances["far"].text == "710 mm"
    assert page.grasp.held.distance != page.grasp.base.distance
    assert len(page.grasp.undo) == 1


def test_between_two_clips_only_the_hands_work_is_done() -> None:
    desk, done = Desk(), list[str]()
    desk.put(FILE, "file", lambda: done.append("file"))
    desk.put(WISH, (1, "show"), lambda: done.append("show"))
    desk.put(WISH, (2, "hand"), lambda: done.append("busy"), lambda: False)
    desk.put(WISH, (1, "hand"), lambda: done.append("hand"))
    for _ in range(3):
        desk.between(_is_hand)
    assert done == ["hand"]
    assert desk.waits(lambda key: key == "file")
