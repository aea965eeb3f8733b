"use strict";
// captions are in the page: a browser loads no caption file from the disk
const told = JSON.parse(document.getElementById("told").textContent);
document.querySelectorAll("section").forEach((section, k) => {
  const video = section.querySelector("video");
  const buttons = [...section.querySelectorAll("button[data-at]")];
  told[k].tracks.forEach((one, n) => {
    const track = video.addTextTrack("captions", one.label, one.language);
    for (const [start, end, text] of one.cues) {
      const escaped = text.replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;");
      track.addCue(new VTTCue(start, end, escaped));
    }
    // where nobody speaks the words are to be read
    track.mode = n === 0 && !told[k].spoken ? "showing" : "disabled";
  });
  for (const button of buttons) {
    button.addEventListener("click", () => {
      video.currentTime = Number(button.dataset.at) + 0.001;
      video.play().catch(() => {});
    });
  }
  const mark = () => {
    const now = buttons.filter((button) => Number(button.dataset.at) <= video.currentTime + 0.01).pop();
    for (const button of buttons) {
      if (button === now && !video.paused) button.setAttribute("aria-current", "true");
      else if (button !== now) button.removeAttribute("aria-current");
    }
  };
  video.addEventListener("timeupdate", mark);
  video.addEventListener("play", () => {
    document.querySelectorAll("video").forEach((other) => { if (other !== video) other.pause(); });
    mark();
  });
});
