"use strict";
{
  const told = JSON.parse(document.getElementById("told").textContent);
  const words = told.words;
  const filled = (text, values) => text.replace(/\{(\w+)\}/g, (_, name) => values[name]);
  const by = id => document.getElementById(id);
  const video = by("video");
  const items = new Map([...document.querySelectorAll("#clips > li")].map(li => [li.dataset.name, li]));
  const clips = new Map(told.clips.map(clip => [clip.name, clip]));
  const picks = [...document.querySelectorAll("[data-pick]")];
  const narrow = window.matchMedia("(max-width: 820px)");
  const rows = [...document.querySelectorAll("#accuracy tbody tr")];
  const marks = { fine: "✓", redo: "↻", again: "?" };
  let now = null;

  // ---------------------------------------------------------------- verdicts, kept for this very rendering of a clip

  // one shelf for a lesson's page and its course's; a verdict stays with the version that it was given to
  const shelf = "aimgeo review";
  const kept = name => { try { return localStorage.getItem(name); } catch { return null; } };
  // without storage they last as long as the page
  const keep = (name, text) => { try { localStorage.setItem(name, text); } catch { /* see above */ } };
  let verdicts = {};
  try { verdicts = JSON.parse(kept(shelf)) || {}; } catch { /* not ours: it begins anew */ }

  const slot = clip => clip.key + " " + clip.digest;
  const verdictOf = clip => ({ verdict: "", note: "", others: {}, ...verdicts[slot(clip)] });
  const spoken = ({ verdict, note }) => [words[verdict], note && `“${note}”`].filter(Boolean).join(", ");
  const differs = clip => {
    const { verdict, others } = verdictOf(clip);
    return new Set([verdict, ...Object.values(others).map(other => other.verdict)].filter(Boolean)).size > 1;
  };

  // what was last said of an earlier version
  function earlier(clip) {
    return Object.keys(verdicts)
      .filter(key => key.startsWith(clip.key + " ") && key !== slot(clip) && spoken(verdicts[key]))
      .map(key => verdicts[key]).sort((a, b) => (a.at || 0) - (b.at || 0)).pop();
  }

  const stateOf = clip => verdictOf(clip).verdict || (earlier(clip) ? "again" : "none");
  const isOpen = clip => ["none", "again"].includes(stateOf(clip));

  function judge(change, clip = now) {
    if (!clip) return;
    verdicts[slot(clip)] = { ...verdictOf(clip), ...change, at: Date.now() };
    keep(shelf, JSON.stringify(verdicts));
    markItem(clip);
    if (clip === now) showVerdict();
    showTally();
  }

  function toggle(verdict) {
    if (now) judge({ verdict: verdictOf(now).verdict === verdict ? "" : verdict });
  }

  function showVerdict() {
    const { verdict, note, others } = verdictOf(now);
    const before = earlier(now);
    for (const name of ["fine", "redo"]) by(name).setAttribute("aria-pressed", String(verdict === name));
    if (document.activeElement !== by("note")) by("note").value = note;
    const said = Object.entries(others).map(([name, other]) => `${name}: ${spoken(other)}`);
    if (said.length && differs(now)) said.push(words.differ);
    if (before) said.unshift(`${words.earlier}: ${spoken(before)}`);
    by("said").replaceChildren(...said.map(line => Object.assign(document.createElement("li"), { textContent: line })));
    by("said").hidden = said.length === 0;
  }

  function markItem(clip) {
    const state = stateOf(clip);
    const li = items.get(clip.name);
    li.dataset.verdict = state;
    const name = Object.assign(document.createElement("span"), { className: "unseen", textContent: words[state] || "" });
    const mark = Object.assign(document.createElement("span"), { textContent: differs(clip) ? "≠" : marks[state] || "" });
    mark.setAttribute("aria-hidden", "true");
    li.querySelector(".mark").replaceChildren(name, mark);
  }

  function showTally() {
    const count = verdict => told.clips.filter(clip => (verdictOf(clip).verdict || "none") === verdict).length;
    const counts = { fine: count("fine"), redo: count("redo"), none: count("none") };
    const shown = visible().length;
    const all = told.clips.length;
    const of = shown === all ? String(all) : filled(words.clips_of, { shown, count: all });
    by("tally").textContent = filled(words.tally, { clips: filled(words.clips[told.plural[all]], { count: of }), ...counts });
    for (const part of by("progress").children) part.style.flexGrow = counts[part.dataset.of];
  }

  // a spreadsheet must not take a note for a formula
  const cell = text => '"' + (/^[=+\-@\t\r]/.test(text) ? "'" : "") + text.replaceAll('"', '""') + '"';

  function exportList() {
    const reviewer = by("reviewer").value.trim();
    const rows = told.clips.map(clip => {
      const { verdict, note } = verdictOf(clip);
      return [clip.key, verdict, note, clip.where, clip.digest, reviewer].map(cell).join(",");
    });
    const blob = new Blob(["\ufeff" + ["clip,verdict,note,lesson,version,reviewer", ...rows].join("\r\n") + "\r\n"], { type: "text/csv" });
    const link = document.createElement("a");
    link.href = URL.createObjectURL(blob);
    link.download = [told.identity + "_review", ...reviewer.match(/[\p{L}\p{N}]+/gu) || []].join("_") + ".csv";
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  }

  // rows of a CSV text as objects; quotes may hold commas, quotes and line ends
  function table(text) {
    const lines = [[]];
    for (const [, quoted, plain, end] of text.matchAll(/(?:"((?:[^"]|"")*)"|([^",\r\n]*))(,|\r?\n|$)/g)) {
      lines.at(-1).push(quoted === undefined ? plain : quoted.replaceAll('""', '"'));
      if (end !== ",") lines.push([]);
    }
    const [head, ...rows] = lines;
    return rows.filter(row => row.length === head.length)
      .map(row => Object.fromEntries(head.map((name, k) => [name.replace("\ufeff", ""), row[k]])));
  }

  // one's own list is taken over where nothing was said yet; what others say stands beside one's own
  async function openLists(files) {
    const mine = by("reviewer").value.trim();
    for (const file of files) {
      for (const row of table(await file.text())) {
        const clip = told.clips.find(one => [one.key, one.name].includes(row.clip) && (row.version || one.digest) === one.digest);
        const said = { verdict: ["fine", "redo"].includes(row.verdict) ? row.verdict : "", note: (row.note || "").replace(/^'/, "") };
        if (!clip || !spoken(said)) continue;
        const own = verdictOf(clip);
        if ((row.reviewer || "") !== mine) {
          const name = row.reviewer || file.name.replace(/\.csv$/i, "");
          judge({ others: { ...own.others, [name]: said } }, clip);
        } else if (!spoken(own)) judge(said, clip);
      }
    }
    pick();
  }

  // ---------------------------------------------------------------- which clips are listed

  const visible = () => told.clips.filter(clip => !items.get(clip.name).hidden);

  function fits(clip, key, value) {
    if (key !== "verdict") return (items.get(clip.name).dataset[key] || "") === value;
    return value === "differ" ? differs(clip) : value === "none" ? isOpen(clip) : stateOf(clip) === value;
  }

  function pick() {
    for (const clip of told.clips) {
      items.get(clip.name).hidden = picks.some(select => select.value && !fits(clip, select.dataset.pick, select.value));
    }
    const shown = visible();
    by("none").hidden = shown.length > 0;
    showTally();
    if (shown.length && !shown.includes(now)) show(shown[0]);
  }

  function showInList(clip) {
    if (!clip || clip === now) return;
    show(clip);
    // on a phone the list lies below the player, which must stay in sight
    if (!narrow.matches) items.get(clip.name).scrollIntoView({ block: "nearest" });
  }

  function move(by) {
    const shown = visible();
    showInList(shown[shown.indexOf(now) + by]);
  }

  // the next clip that waits for a verdict, from the top again after the last one
  function another() {
    const shown = visible();
    const at = shown.indexOf(now);
    showInList([...shown.slice(at + 1), ...shown.slice(0, at)].find(isOpen));
  }

  // ---------------------------------------------------------------- the player

  // a track element would have to fetch its file, which a page from disk may not
  const captions = video.addTextTrack("captions", words.captions, document.documentElement.lang);
  captions.mode = "hidden";
  const seek = by("seek");
  const last = by("last");

  // while the next clip loads, the last picture stays: no black between clips, no picture of another moment
  function keepPicture() {
    if (video.readyState < 2 || !last.hidden) return;
    [last.width, last.height] = [video.videoWidth, video.videoHeight];
    last.getContext("2d").drawImage(video, 0, 0);
    last.hidden = false;
  }

  function show(clip) {
    if (now) items.get(now.name).querySelector(".card").removeAttribute("aria-current");
    keepPicture();
    now = clip;
    looped = null;
    video.removeAttribute("poster");
    // its shape is known before it is loaded
    [video.width, video.height] = [clip.width, clip.height];
    video.src = clip.file;
    for (const cue of [...captions.cues || []]) captions.removeCue(cue);
    for (const { first, end, text } of clip.captions) {
      const marked = text.replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll(">", "&gt;");
      captions.addCue(new VTTCue(first / clip.fps, end / clip.fps, marked));
    }
    by("name").textContent = clip.name;
    by("where").textContent = clip.where;
    by("note").blur();
    by("numbers").replaceChildren(items.get(clip.name).querySelector("template").content.cloneNode(true));
    for (const row of rows) row.hidden = row.dataset.shot !== clip.shot;
    if (by("accuracy")) by("accuracy").hidden = rows.every(row => row.hidden);
    if (narrow.matches) for (const part of by("numbers").children) part.open = false;
    by("steps").replaceChildren(...clip.steps.map(step => {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = button.title = step.name;
      button.style.flexGrow = step.end - step.first;
      button.addEventListener("click", () => seekTo(step.first));
      return button;
    }));
    seek.max = clip.frames - 1;
    by("ticks").replaceChildren(...clip.steps.slice(1).map(step => {
      const tick = document.createElement("i");
      tick.style.left = 100 * step.first / Math.max(1, clip.frames - 1) + "%";
      return tick;
    }));
    items.get(clip.name).querySelector(".card").setAttribute("aria-current", "true");
    history.replaceState(null, "", "#" + encodeURIComponent(clip.name));
    showVerdict();
    tell(0);
  }

  const clamp = frame => Math.min(Math.max(frame, 0), now.frames - 1);
  const stepAt = frame => now.steps.find(step => frame >= step.first && frame < step.end);
  let shownFrame = 0;
  let looped = null;

  // the middle of a frame is reached whatever way a browser rounds
  function seekTo(frame) {
    const at = clamp(frame);
    video.currentTime = (at + 0.5) / now.fps;
    looped = stepAt(at) || null;
    tell(at);
  }

  function goTo(frame) {
    video.pause();
    seekTo(frame);
  }

  function jump(by) {
    const starts = now.steps.map(step => step.first);
    const next = by > 0 ? starts.find(first => first > shownFrame) : starts.findLast(first => first < shownFrame);
    if (next !== undefined) seekTo(next);
  }

  const start = () => video.play().catch(cannotPlay);

  function play() {
    if (!video.paused) return video.pause();
    looped = stepAt(shownFrame) || null;
    if (shownFrame >= now.frames - 1) seekTo(by("loop").value === "step" && looped ? looped.first : 0);
    start();
  }

  function cannotPlay(error) {
    // another clip was shown meanwhile
    if (error && error.name === "AbortError") return;
    video.poster = now.poster;
    last.hidden = true;
    by("words").textContent = words.cannot_play;
  }

  // true when the end of what is looped was reached, and playing goes on at its start
  function goneRound(frame) {
    if (by("loop").value !== "step" || !looped || frame < looped.end - 1) return false;
    seekTo(looped.first);
    if (video.paused) start();
    return true;
  }

  function tell(frame) {
    shownFrame = frame;
    const within = part => frame >= part.first && frame < part.end;
    const seconds = (frame / now.fps).toFixed(2).replace(".", words.decimal);
    const place = filled(words.clock, { frame, frames: now.frames, seconds });
    by("clock").textContent = place;
    const caption = now.captions.find(within);
    by("words").textContent = caption ? caption.text : "";
    const at = now.steps.findIndex(within);
    seek.value = frame;
    seek.style.setProperty("--at", 100 * frame / Math.max(1, now.frames - 1) + "%");
    seek.setAttribute("aria-valuetext", [place, at >= 0 && now.steps[at].name].filter(Boolean).join(", "));
    [...by("steps").children].forEach((button, k) => {
      if (k !== at) return button.removeAttribute("aria-current");
      if (button.hasAttribute("aria-current")) return;
      button.setAttribute("aria-current", "step");
      if (narrow.matches) by("steps").scrollLeft = button.offsetLeft - by("steps").offsetLeft - 16;
    });
  }

  // a clip's first frame may stand a little after zero in its file, hence the rounding
  function watch(_, picture) {
    last.hidden = true;
    if (!video.seeking && !video.paused) {
      const frame = clamp(Math.round(picture.mediaTime * now.fps));
      if (!goneRound(frame)) tell(frame);
    }
    video.requestVideoFrameCallback(watch);
  }
  if ("requestVideoFrameCallback" in video) video.requestVideoFrameCallback(watch);
  else video.addEventListener("timeupdate", () => {
    const frame = clamp(Math.floor(video.currentTime * now.fps));
    if (!video.paused && !goneRound(frame)) tell(frame);
  });
  video.addEventListener("loadeddata", () => setTimeout(() => { last.hidden = true; }, 200));
  video.addEventListener("error", () => cannotPlay());
  video.addEventListener("ended", () => { if (!goneRound(now.frames - 1)) tell(now.frames - 1); });
  video.addEventListener("pause", () => {
    by("play").textContent = words.play;
    if (!video.ended) goTo(Math.floor(video.currentTime * now.fps + 0.01));
  });
  video.addEventListener("play", () => { by("play").textContent = words.pause; });
  video.addEventListener("click", play);

  // ---------------------------------------------------------------- ways to watch

  const speed = by("speed");
  const setSpeed = () => { video.playbackRate = video.defaultPlaybackRate = Number(speed.value); };

  function faster(by) {
    speed.selectedIndex = Math.min(Math.max(speed.selectedIndex + by, 0), speed.options.length - 1);
    setSpeed();
  }

  function setLoop() {
    video.loop = by("loop").value === "clip";
    looped = stepAt(shownFrame) || null;
  }

  function nextLoop() {
    const select = by("loop");
    select.selectedIndex = (select.selectedIndex + 1) % select.options.length;
    setLoop();
  }

  function showCaptions() {
    captions.mode = captions.mode === "showing" ? "hidden" : "showing";
    by("captions").setAttribute("aria-pressed", String(captions.mode === "showing"));
  }

  function mute() {
    video.muted = !video.muted;
    by("mute").setAttribute("aria-pressed", String(video.muted));
  }

  const stage = by("stage");

  function fill() {
    if (document.fullscreenElement) document.exitFullscreen();
    // a phone may give the whole screen to a film alone
    else if (stage.requestFullscreen) stage.requestFullscreen().catch(() => {});
    else video.webkitEnterFullscreen();
  }
  by("full").hidden = !stage.requestFullscreen && !video.webkitEnterFullscreen;

  // ---------------------------------------------------------------- hands

  const doing = {
    " ": play,
    ArrowLeft: () => goTo(shownFrame - 1),
    ArrowRight: () => goTo(shownFrame + 1),
    Home: () => seekTo(0),
    End: () => seekTo(now.frames - 1),
    "[": () => jump(-1),
    "]": () => jump(1),
    "-": () => faster(-1),
    "+": () => faster(1),
    "=": () => faster(1),
    ArrowUp: () => move(-1),
    ArrowDown: () => move(1),
    l: nextLoop,
    c: showCaptions,
    m: mute,
    s: fill,
    f: () => toggle("fine"),
    r: () => toggle("redo"),
    n: () => by("note").focus(),
    o: another,
    e: exportList,
  };
  const buttons = {
    previous: doing.ArrowUp, back: doing.ArrowLeft, play, forth: doing.ArrowRight, next: doing.ArrowDown,
    captions: showCaptions, mute, full: fill, fine: doing.f, redo: doing.r, another, export: exportList,
    open: () => by("files").click(),
    all: () => { for (const select of picks) select.value = ""; pick(); },
  };
  for (const [id, act] of Object.entries(buttons)) by(id).addEventListener("click", act);
  for (const [name, li] of items) {
    li.querySelector(".card").addEventListener("click", () => {
      show(clips.get(name));
      if (narrow.matches) by("player").scrollIntoView();
    });
  }
  for (const select of picks) select.addEventListener("change", pick);
  seek.addEventListener("input", () => seekTo(Number(seek.value)));
  speed.addEventListener("change", setSpeed);
  by("loop").addEventListener("change", setLoop);
  by("note").addEventListener("input", event => judge({ note: event.target.value }));
  by("files").addEventListener("change", async event => {
    await openLists([...event.target.files]);
    event.target.value = "";
  });
  by("reviewer").value = kept(shelf + "er") || "";
  by("reviewer").addEventListener("input", event => keep(shelf + "er", event.target.value));

  // after a click the keys are the page's again; who came by keyboard stays where they are
  document.addEventListener("click", event => { if (event.detail) event.target.closest("button")?.blur(); });
  document.addEventListener("change", event => { if (!event.target.matches(":focus-visible")) event.target.blur(); });

  document.addEventListener("keydown", event => {
    const field = event.target.closest("input:not([type=range]), select");
    if (field) {
      if (event.key === "Escape" || (event.key === "Enter" && field.type === "text")) field.blur();
      return;
    }
    // on some keyboards a bracket is typed with the Alt key
    if (event.ctrlKey || event.metaKey || (event.altKey && !"[]".includes(event.key))) return;
    // on a focused button the space bar presses it
    if (event.key === " " && event.target.closest("button, summary")) return;
    const act = doing[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (act && now) { event.preventDefault(); act(); }
  });

  if (narrow.matches) by("filters").open = false;
  told.clips.forEach(markItem);
  let wanted = "";
  try { wanted = decodeURIComponent(location.hash.slice(1)); } catch { /* no clip has such a name */ }
  show(clips.get(wanted) || told.clips[0]);
  pick();
  if (!narrow.matches) items.get(now.name).scrollIntoView({ block: "nearest" });
}
