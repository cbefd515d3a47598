// Microphone and camera by the browser's own recorder. What is played is kept as it sounds: a
// violin must not be taken for noise, nor a soft note be made louder.

/** What is asked of every microphone. */
export const SOUND = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
export const AUDIO_BITS = 128_000; // a second; whatever becomes of the picture
const PIECE_MS = 1000;
const KEY_FRAME_MS = 1000; // so that ends can be cut to about a second
const TYPES = {
  voice: ["audio/webm;codecs=opus", "audio/mp4", "audio/ogg;codecs=opus"],
  video: ["video/webm;codecs=vp8,opus", "video/mp4", "video/webm"],
};

/** Rejects as getUserMedia does, with NotSupportedError where the page cannot record at all. */
export function streamOf(asked) {
  if (!navigator.mediaDevices?.getUserMedia || !globalThis.MediaRecorder) {
    return Promise.reject(new DOMException("this browser cannot record here", "NotSupportedError"));
  }
  return navigator.mediaDevices.getUserMedia(asked);
}

export function letGo(stream) {
  for (const track of stream?.getTracks() ?? []) track.stop();
}

/** A recorder that has begun. `took(piece)` is called each second; `ended` once the last has come. */
export class Capture {
  #recorder;
  #begun = performance.now();

  /** `kind`: voice or video. `pictureBits`: of the picture, a second. */
  constructor(stream, kind, pictureBits, took) {
    const mimeType = TYPES[kind].find((type) => MediaRecorder.isTypeSupported(type));
    this.#recorder = new MediaRecorder(stream, {
      ...(mimeType && { mimeType }),
      audioBitsPerSecond: AUDIO_BITS,
      videoBitsPerSecond: pictureBits,
      videoKeyFrameIntervalDuration: KEY_FRAME_MS,
    });
    this.ended = new Promise((resolve) => {
      this.#recorder.ondataavailable = ({ data }) => data.size && took(data);
      this.#recorder.onstop = resolve;
    });
    this.#recorder.start(PIECE_MS);
  }

  get running() {
    return this.#recorder.state === "recording";
  }

  get seconds() {
    return (performance.now() - this.#begun) / 1000;
  }

  /** Without the codecs: "video/webm". */
  get type() {
    return this.#recorder.mimeType.split(";")[0];
  }

  stop() {
    if (this.#recorder.state !== "inactive") this.#recorder.stop();
  }
}

/** What a file of that type is called at its end. */
export function endingOf(type) {
  if (type.endsWith("mp4")) return "mp4";
  return type.endsWith("ogg") ? "ogg" : "webm";
}

/** How loud a stream is just now. */
export class Listener {
  #context;
  #analyser;
  #samples;

  constructor(stream) {
    this.#context = new AudioContext();
    this.#analyser = this.#context.createAnalyser();
    this.#samples = new Float32Array(this.#analyser.fftSize);
    this.source = this.#context.createMediaStreamSource(stream);
    this.source.connect(this.#analyser);
  }

  get context() {
    return this.#context;
  }

  /** The loudest sample just now, 0 to 1. */
  get level() {
    this.#analyser.getFloatTimeDomainData(this.#samples);
    return this.#samples.reduce((most, sample) => Math.max(most, Math.abs(sample)), 0);
  }

  close() {
    this.#context?.close();
    this.#context = null;
  }
}
