/* The pot's clock: counts down from first contact, is seen and is heard. */
"use strict";

const PotClock = (() => {
  const SAYS_MIN = [10, 5, 2, 1, 0];
  let audio = null;
  let deadline = null;
  let said = new Set();
  const part = (id) => document.getElementById(id);

  const heard = () => audio !== null && audio.state === "running";

  /* A browser plays a sound only after a tap or a key on this very page, also after a reload. */
  function sound() {
    const Maker = window.AudioContext || window.webkitAudioContext;
    if (!Maker) return;
    if (audio === null) {
      audio = new Maker();
      audio.addEventListener("statechange", tellSound);
    }
    if (!heard()) audio.resume().then(tellSound, tellSound);
    tellSound();
  }

  function tellSound() {
    part("sound").textContent = heard() ? "Try the sound" : "Turn the sound on";
    part("sound-words").classList.toggle("potclock__still", heard() || deadline === null);
    part("sound").classList.toggle("potclock__still", deadline === null);
  }

  function beep(times, pitch) {
    if (navigator.vibrate) navigator.vibrate(Array(times * 2).fill(250));
    if (!heard()) return;
    for (let i = 0; i < times; i += 1) {
      const tone = audio.createOscillator();
      const loudness = audio.createGain();
      tone.frequency.value = pitch;
      loudness.gain.value = 0.4;
      tone.connect(loudness).connect(audio.destination);
      tone.start(audio.currentTime + i * 0.4);
      tone.stop(audio.currentTime + i * 0.4 + 0.25);
    }
  }

  function text(seconds) {
    const whole = Math.floor(Math.abs(seconds));
    const clock = `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
    return seconds < 0 ? `+${clock}` : clock;
  }

  function draw() {
    if (deadline === null) return;
    const left = (deadline - Queue.now()) / 1000;
    part("potclock-left").textContent = text(left);
    const over = left <= 0;
    const soon = left <= 600 && !over;
    part("potclock").classList.toggle("potclock--soon", soon);
    part("potclock").classList.toggle("potclock--over", over);
    part("potclock-words").textContent = over
      ? "Pot life is over. Do not pour this pot."
      : soon ? "Pour now." : "Pot life left, minutes and seconds.";
    for (const minutes of SAYS_MIN) {
      if (left <= minutes * 60 && left > minutes * 60 - 30 && !said.has(minutes)) {
        said.add(minutes);
        part("said").textContent = over ? "Pot life is over. Do not pour." : `${minutes} minutes of pot life left.`;
        beep(minutes > 2 ? 2 : 4, over ? 880 : 660);
      }
    }
  }

  function run(contact, potLifeMin) {
    const ends = new Date(new Date(contact).getTime() + potLifeMin * 60000);
    if (deadline === null || ends.getTime() !== deadline.getTime()) said = new Set();
    deadline = ends;
    tellSound();
    draw();
  }

  /* No pot lives: the clock keeps its place, so that nothing moves when one does. */
  function stop(figure, words) {
    deadline = null;
    part("potclock").classList.remove("potclock--soon", "potclock--over");
    part("potclock-left").textContent = figure;
    part("potclock-words").textContent = words;
    tellSound();
  }

  document.addEventListener("DOMContentLoaded", () => part("sound").addEventListener("click", () => { sound(); audio?.resume().then(() => beep(1, 660)); }));
  /* While a pot lives, any tap will do: nobody has to think of the sound after a reload. */
  for (const gesture of ["pointerup", "keydown"]) document.addEventListener(gesture, () => { if (deadline !== null && !heard()) sound(); });
  setInterval(draw, 500);
  return { run, stop, sound, isOver: () => deadline !== null && Queue.now() >= deadline };
})();
