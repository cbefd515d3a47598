// Pointer, wheel and pinch on the sound picture. A press seeks, a drag selects a span, two
// fingers zoom, the wheel scrolls and (with Ctrl, or up and down) zooms; the foot moves the window.

import { panned, secondsAt, zoomed } from "./geometry.js";
import { lanes } from "./picture-paint.js";

const DRAG_PX = 5; // less is a press
const WHEEL_ZOOM = 0.0022; // a notch of 100 px zooms by about a quarter

/** host: { view, height, show(view), select(span, done), press(seconds), point(seconds, y) } */
export function listen(canvas, host, signal) {
  const fingers = new Map();
  let drag = null;
  let pinch = null;

  const at = (event) => {
    const box = canvas.getBoundingClientRect();
    return { x: event.clientX - box.left, y: event.clientY - box.top };
  };
  const inFoot = (y) => y >= lanes(host.height).foot[0];
  const showFoot = (x) => {
    const { view } = host;
    host.show(panned(view, (x / view.width) * view.duration - (view.from + view.to) / 2));
  };
  const spread = () => {
    const [a, b] = [...fingers.values()];
    return { width: Math.max(Math.abs(a.x - b.x), 20), middle: (a.x + b.x) / 2 };
  };

  const down = (event) => {
    if (event.button > 0) return;
    const place = at(event);
    canvas.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, place);
    if (fingers.size === 2) {
      pinch = { ...spread(), view: host.view };
      drag = null;
    } else if (inFoot(place.y)) {
      drag = { foot: true };
      showFoot(place.x);
    } else {
      drag = { from: place.x, seconds: secondsAt(host.view, place.x), moved: false };
    }
  };

  const move = (event) => {
    const place = at(event);
    if (!fingers.has(event.pointerId)) return host.point(secondsAt(host.view, place.x), place.y);
    fingers.set(event.pointerId, place);
    if (pinch && fingers.size === 2) {
      const now = spread();
      const anchor = secondsAt(pinch.view, pinch.middle);
      const nearer = zoomed(pinch.view, now.width / pinch.width, anchor);
      return host.show(panned(nearer, anchor - secondsAt(nearer, now.middle)));
    }
    if (!drag) return undefined;
    if (drag.foot) return showFoot(place.x);
    drag.moved ||= Math.abs(place.x - drag.from) > DRAG_PX;
    if (drag.moved) host.select(ordered(drag.seconds, secondsAt(host.view, place.x)), false);
    return undefined;
  };

  const up = (event) => {
    const place = at(event);
    fingers.delete(event.pointerId);
    if (drag && !drag.foot && event.type === "pointerup") {
      const end = secondsAt(host.view, place.x);
      if (drag.moved) host.select(ordered(drag.seconds, end), true);
      else host.press(end);
    }
    drag = null;
    if (fingers.size < 2) pinch = null;
  };

  const wheel = (event) => {
    event.preventDefault();
    const { view } = host;
    const sideways = Math.abs(event.deltaX) > Math.abs(event.deltaY) || event.shiftKey;
    if (sideways) {
      const px = event.deltaX || event.deltaY;
      host.show(panned(view, (px / view.width) * (view.to - view.from)));
    } else {
      host.show(zoomed(view, Math.exp(-event.deltaY * WHEEL_ZOOM), secondsAt(view, at(event).x)));
    }
  };

  canvas.addEventListener("pointerdown", down, { signal });
  canvas.addEventListener("pointermove", move, { signal });
  canvas.addEventListener("pointerup", up, { signal });
  canvas.addEventListener("pointercancel", up, { signal });
  canvas.addEventListener("pointerleave", () => host.point(null, 0), { signal });
  canvas.addEventListener("wheel", wheel, { signal, passive: false });
}

function ordered(a, b) {
  return [Math.max(Math.min(a, b), 0), Math.max(a, b)];
}
