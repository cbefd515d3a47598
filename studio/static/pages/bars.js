// The bars that stay in sight, and what has the focus. How much of the window they take is told to
// the style sheets (--bar-top, --bar-bottom), which keep the focus clear of them. Where they would
// leave too little, because the window is low or the text large, the largest go with the page.

const OVER = ".tabs, .thumb, .stage, .switches, .desk-media, .desk-compose";
const BESIDE = ".desk-side, .preview";
const MOST = 0.66; // of the window's height, for all bars together

const sizes = new ResizeObserver(measure);
for (const bar of document.querySelectorAll(`${OVER}, ${BESIDE}`)) sizes.observe(bar);
addEventListener("resize", measure);
// Browsers bring a text field's cursor into sight, not the field.
addEventListener("focusin", ({ target }) => {
  if (target.matches("textarea")) target.scrollIntoView({ block: "nearest" });
});

function measure() {
  const bars = [...document.querySelectorAll(`${OVER}, ${BESIDE}`)];
  for (const bar of bars) bar.removeAttribute("data-loose");
  const held = bars.map(hold).filter(Boolean);
  for (const { bar } of held.filter((one) => one.beside && one.reach > innerHeight)) loosen(bar);
  // The one that is written in goes last.
  const over = held.filter(({ beside }) => !beside).sort((a, b) => a.used - b.used || b.height - a.height);
  while (over.length && share(over) > (over[0].used ? 1 : MOST)) loosen(over.shift().bar);
  for (const side of ["top", "bottom"]) tell(`--bar-${side}`, `${Math.ceil(reachOf(over, side))}px`);
}

/** Where a bar is held and how far it reaches from there; null for one that goes with the page. */
function hold(bar) {
  const { position, top, bottom } = getComputedStyle(bar);
  const { width, height, bottom: foot } = bar.getBoundingClientRect();
  if (!height || !["fixed", "sticky"].includes(position)) return null;
  const low = position === "fixed" ? foot > innerHeight / 2 : bottom !== "auto";
  const inset = Math.max(parseFloat(low ? bottom : top) || 0, 0);
  const beside = width < document.documentElement.clientWidth * 0.7;
  const used = bar.contains(document.activeElement);
  return { bar, height, beside, used, side: low ? "bottom" : "top", reach: inset + height };
}

function share(bars) {
  return (reachOf(bars, "top") + reachOf(bars, "bottom")) / innerHeight;
}

function reachOf(bars, side) {
  return Math.max(0, ...bars.filter((one) => one.side === side).map(({ reach }) => reach));
}

function loosen(bar) {
  bar.setAttribute("data-loose", "");
}

/** A property of the root concerns every element of the page: it is set when it changes. */
function tell(name, value) {
  const { style } = document.documentElement;
  if (style.getPropertyValue(name) !== value) style.setProperty(name, value);
}
