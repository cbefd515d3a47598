// Strokes as elements: each twice, a light casing under the ink, so that it is seen on any picture.

import { shapes } from "./strokes.js";

const SVG = "http://www.w3.org/2000/svg";

/** Put strokes into an <svg>, with a cross at a point if one is given. */
export function show(svg, strokes, cross = null) {
  const drawn = shapes(strokes);
  const casing = drawn.filter(({ d }) => d).map(({ d }) => element("path", { d, class: "casing" }));
  const ink = drawn.map((shape) => (shape.d ? element("path", { d: shape.d, class: "ink" }) : text(shape)));
  const mark = cross ? crossAt(cross.map((length) => length * 1000)) : [];
  svg.replaceChildren(...casing, ...ink, ...mark);
}

function text({ text: words, x, y }) {
  const made = element("text", { x, y });
  made.textContent = words;
  return made;
}

function crossAt([x, y]) {
  const d = `M${x - 25} ${y} h50 M${x} ${y - 25} v50`;
  return ["casing", "ink"].map((name) => element("path", { d, class: `${name} cross` }));
}

function element(name, attributes) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}
