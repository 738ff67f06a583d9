"use strict";
// Plays one sound at a time: what the pages for the office have in common.
const one = (selector, within = document) => within.querySelector(selector);
const player = new Audio();
let playing = null;

function stop() {
  player.pause();
  if (playing) {
    playing.classList.remove("playing");
    playing.textContent = "▶ play";
  }
  playing = null;
}

async function play(button) {
  const again = playing === button;
  stop();
  if (again) return;
  playing = button;
  button.classList.add("playing");
  button.textContent = "■ stop";
  player.src = button.dataset.sound;
  try {
    await player.play();
  } catch (error) {
    if (playing === button) {
      stop();
      tell(`This browser cannot play the sound: ${error.message}`);
    }
  }
}

player.addEventListener("ended", stop);
