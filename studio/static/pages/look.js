// Looking at a chosen recording before it is sent, in a media element of the page.

const LOOK_MS = 8000; // a browser that has not opened a file by then will not tell its length

/**
 * Open `file` in `look` (a <video>), and show it if it has a picture. `found` resolves to
 * {opens, durationS}; the length may stay unknown (null). `release()` lets go of the file.
 */
export function openIn(look, file) {
  const address = URL.createObjectURL(file);
  let patience = 0;
  look.src = address;
  const found = new Promise((resolve) => {
    const tell = (opens) => {
      clearTimeout(patience);
      const known = opens && Number.isFinite(look.duration);
      look.hidden = !(opens && look.videoWidth);
      look.onloadedmetadata = look.onerror = null;
      resolve({ opens, durationS: known ? look.duration : null });
    };
    look.onloadedmetadata = () => tell(true);
    look.onerror = () => tell(false);
    patience = setTimeout(() => tell(look.readyState > 0), LOOK_MS);
  });
  const release = () => {
    clearTimeout(patience);
    URL.revokeObjectURL(address);
  };
  return { found, release };
}

/** Whether the file can still be read: one that is gone looks like a lost line on sending. */
export function isReadable(file) {
  return file.slice(0, 1).arrayBuffer().then(() => true, () => false);
}
