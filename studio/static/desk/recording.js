// One recording by the browser's own recorder. What a voice says is kept as it sounds: a violin
// that demonstrates must not be taken for noise, nor a soft note be made louder.

const SOUND = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
const PICTURE = { facingMode: "user", width: { ideal: 1280 }, height: { ideal: 720 } };
const PIECE_MS = 1000;
const KEPT_PIECES = 5; // so many pieces on, what there is so far is worth keeping again
const TYPES = {
  voice: ["audio/webm;codecs=opus", "audio/mp4", "audio/ogg;codecs=opus"],
  video: ["video/webm;codecs=vp8,opus", "video/mp4", "video/webm"],
};
const BITS = { audioBitsPerSecond: 128_000, videoBitsPerSecond: 2_000_000 };

export class Recording {
  #stream;
  #recorder;
  #pieces = [];
  #context = null;
  #analyser = null;
  #samples = null;
  #begun = 0;

  /** Ask for microphone (and camera), and begin. Rejects as getUserMedia does. */
  static async begin(kind) {
    if (!navigator.mediaDevices?.getUserMedia || !globalThis.MediaRecorder) {
      throw new DOMException("this browser cannot record here", "NotSupportedError");
    }
    const asked = { audio: SOUND, video: kind === "video" ? PICTURE : false };
    const stream = await navigator.mediaDevices.getUserMedia(asked);
    try {
      return new Recording(kind, stream);
    } catch (error) {
      for (const track of stream.getTracks()) track.stop();
      throw error;
    }
  }

  constructor(kind, stream) {
    const mimeType = TYPES[kind].find((type) => MediaRecorder.isTypeSupported(type));
    this.#stream = stream;
    this.#recorder = new MediaRecorder(stream, { ...(mimeType && { mimeType }), ...BITS });
    this.kind = kind;
    this.ended = new Promise((resolve) => {
      this.#recorder.ondataavailable = ({ data }) => this.#take(data);
      this.#recorder.onstop = () => resolve(this.#made());
    });
    this.#listen();
    this.#recorder.start(PIECE_MS);
    this.#begun = performance.now();
  }

  /** Called with the file so far, now and then, so that a crash does not lose all of it. */
  soFar = () => {};

  get stream() {
    return this.#stream;
  }

  get seconds() {
    return (performance.now() - this.#begun) / 1000;
  }

  /** The loudest sample just now, 0 to 1. */
  get level() {
    this.#analyser.getFloatTimeDomainData(this.#samples);
    return this.#samples.reduce((most, sample) => Math.max(most, Math.abs(sample)), 0);
  }

  /** `ended` then gives the file. Microphone and camera are let go at once. */
  stop() {
    if (this.#recorder.state !== "inactive") this.#recorder.stop();
    for (const track of this.#stream.getTracks()) track.stop();
    this.#context?.close();
    this.#context = null;
  }

  #listen() {
    this.#context = new AudioContext();
    this.#analyser = this.#context.createAnalyser();
    this.#samples = new Float32Array(this.#analyser.fftSize);
    this.#context.createMediaStreamSource(this.#stream).connect(this.#analyser);
  }

  #take(data) {
    if (data.size) this.#pieces.push(data);
    const { state } = this.#recorder;
    if (state === "recording" && this.#pieces.length % KEPT_PIECES === 0) this.soFar(this.#made());
  }

  #made() {
    const type = this.#recorder.mimeType.split(";")[0];
    const ending = type.endsWith("mp4") ? "mp4" : type.endsWith("ogg") ? "ogg" : "webm";
    return new File(this.#pieces, `${this.kind}-reply.${ending}`, { type });
  }
}
