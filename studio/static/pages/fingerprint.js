// Telling a recording by its contents, so that sending goes on with the same one and with no other
// of its name. Phones name every clip alike, and give it a new date each time it is chosen.

const SAMPLES = 24;
const SAMPLE_BYTES = 16 * 1024; // 384 kB in all, whatever the size

/** A short text that two different recordings do not share: size, and a hash of samples. */
export async function fingerprint(file) {
  const last = Math.max(0, file.size - SAMPLE_BYTES);
  const starts = Array.from({ length: SAMPLES }, (_, at) => Math.floor((last * at) / (SAMPLES - 1)));
  let hash = [0x811c9dc5, 0x9e3779b9];
  for (const start of new Set(starts)) {
    const sample = await file.slice(start, start + SAMPLE_BYTES).arrayBuffer();
    hash = mixed(hash, new Uint8Array(sample));
  }
  return `${file.size}-${hash.map((half) => half.toString(16).padStart(8, "0")).join("")}`;
}

/**
 * Two 32-bit FNV-1a hashes (Fowler, Noll and Vo) of other beginnings, the second of turned bits.
 * `crypto.subtle` exists only on https; this need not withstand an enemy, who would send his own.
 */
export function mixed([one, other], bytes) {
  for (const byte of bytes) {
    one = Math.imul(one ^ byte, 0x01000193) >>> 0;
    other = Math.imul(((other << 5) | (other >>> 27)) ^ byte, 0x01000193) >>> 0;
  }
  return [one, other];
}
