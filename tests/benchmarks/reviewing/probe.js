// In the page before its own scripts: when things were painted, as the browser tells it.

(() => {
  const painted = (then) => requestAnimationFrame(() => {
    const { port1, port2 } = new MessageChannel(); // its task runs after the frame was drawn
    port1.onmessage = () => then(performance.now());
    port2.postMessage(null);
  });

  const probe = { pressed: null, shown: null, frames: [], watch: null };
  globalThis.probe = probe;

  /** From now on: the time from the next key to the first frame in which `css` is there. */
  probe.expect = (css) => {
    probe.pressed = probe.shown = null;
    probe.watch = css;
  };

  addEventListener("keydown", (event) => {
    if (probe.watch === null) return;
    probe.pressed = event.timeStamp;
    const css = probe.watch;
    probe.watch = null;
    const look = () => painted((at) => {
      if (css === "" || document.querySelector(css)) probe.shown = at;
      else look();
    });
    look();
  }, true);

  /** The moments of the frames of the next some seconds. */
  probe.film = (ms) => new Promise((resolve) => {
    const start = performance.now();
    const at = [];
    const step = (now) => {
      at.push(now);
      if (now - start < ms) requestAnimationFrame(step);
      else resolve(at);
    };
    requestAnimationFrame(step);
  });
})();
