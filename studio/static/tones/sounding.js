// The tones in Web Audio. Nothing is loaded: each voice is one oscillator with its own partials.

import { ATTACK_S, partials, RELEASE_S, rise, VOICE_LEVEL } from "./tones.js";

const LEAD_S = 0.05; // so that the first rise is not cut off
const FADE_S = 0.04; // time constant of stopping early: silent after about 0.2 s
const SLIDE_S = 0.03; // of a mistuning that is moved while it sounds

function waveOf(context, hz) {
  const amplitudes = partials(hz);
  const sines = new Float32Array(amplitudes.length + 1);
  sines.set(amplitudes, 1);
  const cosines = new Float32Array(sines.length);
  return context.createPeriodicWave(cosines, sines, { disableNormalization: true });
}

/** Start one note at a time of the context; without an end where `seconds` is Infinity. */
function start(context, out, { voice, hz, at, seconds, gain: own = 1 }, from) {
  const oscillator = context.createOscillator();
  const gain = context.createGain();
  const begin = from + at;
  const level = VOICE_LEVEL * own;
  oscillator.setPeriodicWave(waveOf(context, hz));
  oscillator.frequency.value = hz;
  oscillator.connect(gain).connect(out);
  gain.gain.value = 0;
  gain.gain.setValueCurveAtTime(rise(level), begin, ATTACK_S);
  oscillator.start(begin);
  if (Number.isFinite(seconds)) {
    gain.gain.setValueCurveAtTime(rise(level).reverse(), begin + seconds - RELEASE_S, RELEASE_S);
    oscillator.stop(begin + seconds);
  }
  return { voice, oscillator, gain, end: begin + seconds };
}

/** Schedule notes [{ voice, hz, at, seconds, gain }], `gain` 1 unless said, in any audio context, also an offline one. */
export function schedule(context, out, notes, from = 0) {
  return notes.map((note) => start(context, out, note, from));
}

/** One thing sounding at a time. `ended` is called when it has come to its end by itself. */
export class Sounding {
  #context = null;
  #loudness = null;
  #voices = [];
  #session;

  /** `session`: what a phone is told that it is for; "play-and-record" beside a recorder. */
  constructor(session = "playback") {
    this.#session = session;
  }

  get on() {
    return this.#voices.length > 0;
  }

  async play(notes, gain, ended) {
    this.stop();
    this.#open();
    this.loudness = gain;
    const out = this.#context.createGain();
    out.connect(this.#loudness);
    const voices = schedule(this.#context, out, notes, this.#context.currentTime + LEAD_S);
    this.#voices = voices;
    this.out = out;
    const last = voices.reduce((latest, voice) => (voice.end > latest.end ? voice : latest));
    last.oscillator.addEventListener("ended", () => this.#voices === voices && this.#finish(ended));
    await this.#context.resume();
  }

  /** Fade out at once. */
  stop() {
    if (!this.on) return;
    const now = this.#context.currentTime;
    this.out.gain.setTargetAtTime(0, now, FADE_S);
    for (const { oscillator } of this.#voices) oscillator.stop(now + 8 * FADE_S);
    this.#voices = [];
  }

  /** Move what sounds to other frequencies, voice by voice. */
  retune(hz) {
    for (const { voice, oscillator } of this.#voices) {
      oscillator.frequency.setTargetAtTime(hz[voice], this.#context.currentTime, SLIDE_S);
    }
  }

  set loudness(gain) {
    this.#loudness?.gain.setTargetAtTime(gain, this.#context.currentTime, SLIDE_S);
  }

  close() {
    this.stop();
    this.#context?.close();
    this.#context = null;
  }

  #open() {
    if (this.#context) return;
    // Says to a phone that this is meant to be heard although its ringer is off.
    if (navigator.audioSession) navigator.audioSession.type = this.#session;
    this.#context = new AudioContext({ latencyHint: "interactive" });
    this.#loudness = this.#context.createGain();
    this.#loudness.gain.value = 0;
    this.#loudness.connect(this.#context.destination);
  }

  #finish(ended) {
    this.#voices = [];
    ended();
  }
}
