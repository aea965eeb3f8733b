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
  const marks = { fine: "✓", redo: "↻" };
  let now = null;

  // ---------------------------------------------------------------- verdicts, kept for this very rendering of a clip

  // one shelf for a lesson's page and its course's; a verdict stays with the version that it was given to
  const shelf = "aimgeo review";
  let verdicts = {};
  try { verdicts = JSON.parse(localStorage.getItem(shelf)) || {}; } catch { /* no storage: they last as long as the page */ }

  const slot = clip => clip.key + " " + clip.digest;
  const verdictOf = clip => verdicts[slot(clip)] || { verdict: "", note: "" };
  const earlierNote = clip => Object.keys(verdicts)
    .filter(key => key.startsWith(clip.key + " ") && key !== slot(clip)).map(key => verdicts[key].note).filter(Boolean).pop();

  function judge(change) {
    if (!now) return;
    verdicts[slot(now)] = { ...verdictOf(now), ...change };
    try { localStorage.setItem(shelf, JSON.stringify(verdicts)); } catch { /* as above */ }
    showVerdict();
    showTally();
  }

  function toggle(verdict) {
    if (now) judge({ verdict: verdictOf(now).verdict === verdict ? "" : verdict });
  }

  function showVerdict() {
    const { verdict, note } = verdictOf(now);
    for (const name of ["fine", "redo"]) by(name).setAttribute("aria-pressed", String(verdict === name));
    if (document.activeElement !== by("note")) by("note").value = note;
    by("note").placeholder = earlierNote(now) || "";
    markItem(now);
  }

  function markItem(clip) {
    const { verdict } = verdictOf(clip);
    const li = items.get(clip.name);
    li.dataset.verdict = verdict || "none";
    li.querySelector(".mark").textContent = marks[verdict] || "";
    li.querySelector(".card").setAttribute("aria-label", clip.name + (verdict ? ", " + words[verdict] : ""));
  }

  function showTally() {
    const count = verdict => told.clips.filter(clip => (verdictOf(clip).verdict || "none") === verdict).length;
    const shown = visible().length;
    const all = told.clips.length;
    const of = shown === all ? String(all) : filled(words.clips_of, { shown, count: all });
    const clips = filled(words.clips[told.plural[all]], { count: of });
    by("tally").textContent =
      filled(words.tally, { clips, fine: count("fine"), redo: count("redo"), none: count("none") });
  }

  // a spreadsheet must not take a note for a formula
  const cell = text => '"' + (/^[=+\-@\t\r]/.test(text) ? "'" : "") + text.replaceAll('"', '""') + '"';

  function exportList() {
    const rows = told.clips.map(clip => {
      const { verdict, note } = verdictOf(clip);
      return [clip.name, verdict, note, clip.where, clip.digest].map(cell).join(",");
    });
    const blob = new Blob(["\ufeff" + ["clip,verdict,note,lesson,version", ...rows].join("\r\n") + "\r\n"], { type: "text/csv" });
    const link = document.createElement("a");
    link.href = URL.createObjectURL(blob);
    link.download = told.identity + "_review.csv";
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  }

  // ---------------------------------------------------------------- which clips are listed

  const visible = () => told.clips.filter(clip => !items.get(clip.name).hidden);

  function pick() {
    for (const li of items.values()) {
      li.hidden = picks.some(select => select.value && (li.dataset[select.dataset.pick] || "") !== select.value);
    }
    const shown = visible();
    by("none").hidden = shown.length > 0;
    showTally();
    if (shown.length && !shown.includes(now)) show(shown[0]);
  }

  function move(by) {
    const shown = visible();
    const at = shown.indexOf(now) + by;
    if (at >= 0 && at < shown.length) {
      show(shown[at]);
      // on a phone the list lies below the player, which must stay in sight
      if (!narrow.matches) items.get(now.name).scrollIntoView({ block: "nearest" });
    }
  }

  // ---------------------------------------------------------------- the player

  function show(clip) {
    if (now) items.get(now.name).querySelector(".card").removeAttribute("aria-current");
    now = clip;
    video.poster = clip.poster;
    video.src = clip.file;
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
      button.addEventListener("click", () => goTo(step.first));
      return button;
    }));
    items.get(clip.name).querySelector(".card").setAttribute("aria-current", "true");
    history.replaceState(null, "", "#" + encodeURIComponent(clip.name));
    showVerdict();
    tell(0);
  }

  const clamp = frame => Math.min(Math.max(frame, 0), now.frames - 1);
  let shownFrame = 0;

  // the middle of a frame is reached whatever way a browser rounds
  function goTo(frame) {
    video.pause();
    shownFrame = clamp(frame);
    video.currentTime = (shownFrame + 0.5) / now.fps;
    tell(shownFrame);
  }

  function jump(by) {
    const starts = now.steps.map(step => step.first);
    const next = by > 0 ? starts.find(first => first > shownFrame) : starts.findLast(first => first < shownFrame);
    if (next !== undefined) goTo(next);
  }

  function play() {
    if (!video.paused) return video.pause();
    if (shownFrame >= now.frames - 1) video.currentTime = 0;
    video.play().catch(() => { by("words").textContent = words.cannot_play; });
  }

  function tell(frame) {
    shownFrame = frame;
    const within = part => frame >= part.first && frame < part.end;
    const seconds = (frame / now.fps).toFixed(2).replace(".", words.decimal);
    by("clock").textContent = filled(words.clock, { frame, frames: now.frames, seconds });
    const caption = now.captions.find(within);
    by("words").textContent = caption ? caption.text : "";
    const at = now.steps.findIndex(within);
    [...by("steps").children].forEach((button, k) => {
      if (k === at) button.setAttribute("aria-current", "step");
      else button.removeAttribute("aria-current");
    });
  }

  // a clip's first frame may stand a little after zero in its file, hence the rounding
  function watch(_, picture) {
    if (!video.seeking && !video.paused) tell(clamp(Math.round(picture.mediaTime * now.fps)));
    video.requestVideoFrameCallback(watch);
  }
  if ("requestVideoFrameCallback" in video) video.requestVideoFrameCallback(watch);
  else video.addEventListener("timeupdate", () => {
    if (!video.paused) tell(clamp(Math.floor(video.currentTime * now.fps)));
  });
  video.addEventListener("ended", () => tell(now.frames - 1));
  video.addEventListener("pause", () => {
    by("play").textContent = words.play;
    if (!video.ended) goTo(clamp(Math.floor(video.currentTime * now.fps + 0.01)));
  });
  video.addEventListener("play", () => { by("play").textContent = words.pause; });
  video.addEventListener("click", play);

  // ---------------------------------------------------------------- hands

  const doing = {
    " ": play,
    ArrowLeft: () => goTo(shownFrame - 1),
    ArrowRight: () => goTo(shownFrame + 1),
    "[": () => jump(-1),
    "]": () => jump(1),
    ArrowUp: () => move(-1),
    ArrowDown: () => move(1),
    f: () => toggle("fine"),
    r: () => toggle("redo"),
    n: () => by("note").focus(),
    e: exportList,
  };
  const buttons = {
    previous: doing.ArrowUp, back: doing.ArrowLeft, play, forth: doing.ArrowRight, next: doing.ArrowDown,
    fine: doing.f, redo: doing.r, export: exportList,
    all: () => { for (const select of picks) select.value = ""; pick(); },
  };
  for (const [id, act] of Object.entries(buttons)) by(id).addEventListener("click", act);
  for (const [name, li] of items) li.querySelector(".card").addEventListener("click", () => show(clips.get(name)));
  for (const select of picks) select.addEventListener("change", pick);
  by("note").addEventListener("input", event => judge({ note: event.target.value }));

  document.addEventListener("keydown", event => {
    const field = event.target.closest("input, select");
    if (field) {
      if (event.key === "Escape" || (event.key === "Enter" && field === by("note"))) field.blur();
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
}
