// What a page's layout says of WCAG 2.2, measured in the page as it stands: one function each,
// and each answers with sentences, none where nothing is wrong.

const MIN_TARGET_PX = 24; // 2.5.8 Target Size (Minimum)
const MIN_ENGRAVED_PX = 9; // this project's choice
const MIN_CONTRAST = 3; // 1.4.11 Non-text Contrast
const SLACK_PX = 1; // layout is in fractions of a pixel
const TARGETS =
  "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex], video[controls], audio[controls]";
// What is as wide as its music or its time: 1.4.10 Reflow excepts what needs two dimensions.
const WIDE_BY_NATURE = ".engraved, .leaf, .incipit, .music, .paper-page, drill-sheet, sound-picture, textarea, input";

const shown = (one) =>
  one.checkVisibility({ visibilityProperty: true, contentVisibilityAuto: false });
const named = (one) => {
  const id = one.id ? `#${one.id}` : "";
  const kind = one.getAttribute("class") ? `.${one.getAttribute("class").trim().split(/\s+/).join(".")}` : "";
  const said = (one.getAttribute("aria-label") ?? one.textContent ?? "").trim().slice(0, 30);
  return `${one.localName}${id}${kind} “${said.replace(/\s+/g, " ")}”`;
};
const targets = () =>
  [...document.querySelectorAll(TARGETS)].filter(
    (one) => one.tabIndex >= 0 && !one.disabled && !one.closest("[inert]") && shown(one),
  );
const px = (value) => Number(value.toFixed(1));

// -- 1.4.10, 1.4.12, 1.4.4: nothing sticks out, scrolls sideways or is cut off -----------------

function sticking() {
  const width = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth <= width) return [];
  const out = [...document.querySelectorAll("body *")].filter((one) => {
    const box = one.getBoundingClientRect();
    return box.right > width + SLACK_PX && box.width && shown(one) && !clipped(one);
  });
  const inner = out.filter((one) => !out.some((other) => other !== one && one.contains(other)));
  const names = inner.slice(0, 4).map((one) => `${named(one)} to ${px(one.getBoundingClientRect().right)}`);
  return [`the page is ${document.documentElement.scrollWidth} wide: ${names.join(", ")}`];
}

function clipped(one) {
  for (let up = one.parentElement; up && up !== document.body; up = up.parentElement)
    if (getComputedStyle(up).overflowX !== "visible") return true;
  return false;
}

function cutOff() {
  const found = [];
  for (const one of document.querySelectorAll("body *")) {
    const { overflowX, overflowY, clipPath } = getComputedStyle(one);
    if (overflowX === "visible" && overflowY === "visible") continue;
    if (clipPath !== "none" || one.matches("svg, svg *") || one.closest(WIDE_BY_NATURE)) continue;
    if (!one.clientWidth || !shown(one)) continue;
    const wide = one.scrollWidth > one.clientWidth + SLACK_PX && overflowX !== "visible";
    const tall = one.scrollHeight > one.clientHeight + SLACK_PX && ["hidden", "clip"].includes(overflowY);
    if (wide) found.push(`${named(one)}: ${one.scrollWidth} wide in ${one.clientWidth}`);
    if (tall) found.push(`${named(one)}: ${one.scrollHeight} tall in ${one.clientHeight}`);
  }
  return found;
}

function lapping() {
  const all = targets()
    .filter((one) => !one.matches(".stretch, svg *") && !clipped(one))
    .map((one) => ({ one, bar: pinned(one), boxes: [...one.getClientRects()] }));
  const found = [];
  all.forEach(({ one, bar, boxes }, at) => {
    for (const other of all.slice(at + 1)) {
      if (one.contains(other.one) || other.one.contains(one)) continue;
      if (bar !== other.bar) continue;
      const lap = boxes.some((a) => other.boxes.some((b) =>
        Math.min(a.right, b.right) - Math.max(a.left, b.left) > 3 &&
        Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 3));
      if (lap) found.push(`${named(one)} lies over ${named(other.one)}`);
    }
  });
  return found;
}

// -- 2.5.8: a target is large enough, or far enough from the next -------------------------------

function boxOf(one) {
  const own = (one.matches(".stretch") ? one.offsetParent : one).getBoundingClientRect();
  const boxes = [own, ...[...(one.labels ?? [])].filter(shown).map((label) => label.getBoundingClientRect())];
  return boxes.reduce((best, box) =>
    Math.min(box.width, box.height) > Math.min(best.width, best.height) ? box : best);
}

const inSentence = (one) =>
  getComputedStyle(one).display === "inline" && one.localName === "a" &&
  (one.parentElement.textContent.trim().length > one.textContent.trim().length + 2);

function small() {
  const all = targets()
    .filter((one) => !one.matches("svg *")) // how near notes stand is the music's to say
    .map((one) => ({ one, box: boxOf(one) }));
  const under = ({ box }) => Math.min(box.width, box.height) < MIN_TARGET_PX - 0.1;
  const reach = ({ box }, { box: other }, radius) => {
    const x = box.left + box.width / 2, y = box.top + box.height / 2;
    const dx = Math.max(other.left - x, 0, x - other.right), dy = Math.max(other.top - y, 0, y - other.bottom);
    return Math.hypot(dx, dy) < radius;
  };
  const middle = ({ box }) => ({ box: new DOMRect(box.left + box.width / 2, box.top + box.height / 2, 0, 0) });
  return all
    .filter((it) => under(it) && !inSentence(it.one) && all.some((next) =>
      next !== it && !next.one.contains(it.one) && !it.one.contains(next.one) &&
      (reach(it, next, MIN_TARGET_PX / 2) || (under(next) && reach(it, middle(next), MIN_TARGET_PX)))))
    .map(({ one, box }) => `${named(one)} is ${px(box.width)} × ${px(box.height)}`);
}

// -- 2.4.11, 2.4.7, 1.4.11: where the focus is can be seen ---------------------------------------

function pinned(one) {
  for (let up = one; up && up !== document.documentElement; up = up.parentElement)
    if (["fixed", "sticky"].includes(getComputedStyle(up).position)) return up;
  return null;
}

// What is seen of a control: of one that lies unseen in its label, the label.
function seenOf(one) {
  const unseen = getComputedStyle(one).opacity === "0" || one.getBoundingClientRect().width <= 1;
  return (unseen && one.labels?.[0]) || one;
}

function points(box) {
  const inset = 2;
  const xs = [box.left + inset, box.left + box.width / 2, box.right - inset];
  const ys = [box.top + inset, box.top + box.height / 2, box.bottom - inset];
  return xs.flatMap((x) => ys.map((y) => [x, y]));
}

function coverOf(one) {
  const seen = seenOf(one);
  const boxes = [...seen.getClientRects()].filter((box) => box.width > 4 && box.height > 4);
  const hits = boxes.flatMap(points).map(([x, y]) => {
    if (x < 0 || y < 0 || x >= innerWidth || y >= innerHeight) return "out of the window";
    const hit = document.elementFromPoint(x, y);
    if (!hit || hit === seen || seen.contains(hit) || hit.contains(seen)) return null;
    const bar = pinned(hit);
    return bar && !bar.contains(seen) ? `under ${named(bar)}` : null;
  });
  const large = boxes.some((box) => box.height > innerHeight / 3 || box.width > innerWidth);
  const covered = hits.filter(Boolean);
  return covered.length && (!large || covered.length === hits.length) ? covered[0] : null;
}

function focusing() {
  const found = [];
  const all = targets();
  document.activeElement?.blur();
  scrollTo(0, 0);
  for (const one of all) {
    one.focus();
    if (document.activeElement !== one) continue;
    const cover = coverOf(one);
    if (cover) found.push(`${named(one)} has the focus ${cover}`);
  }
  document.activeElement?.blur();
  scrollTo(0, document.documentElement.scrollHeight);
  for (const one of all.toReversed()) {
    one.focus();
    if (document.activeElement !== one) continue;
    const cover = coverOf(one);
    if (cover) found.push(`${named(one)} has the focus, coming back, ${cover}`);
  }
  document.activeElement?.blur();
  scrollTo(0, 0);
  return found;
}

const luminance = (channels) => {
  const [r, g, b] = channels.map((value) => {
    const part = value / 255;
    return part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4;
  });
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
};
const channels = (colour) => colour.match(/[\d.]+/g).map(Number);
const contrast = (one, other) => {
  const [dark, light] = [luminance(channels(one)), luminance(channels(other))].sort((a, b) => a - b);
  return (light + 0.05) / (dark + 0.05);
};
function groundOf(one) {
  for (let up = one; up; up = up.parentElement) {
    const { backgroundColor } = getComputedStyle(up);
    if ((channels(backgroundColor)[3] ?? 1) > 0.9) return backgroundColor;
  }
  return "rgb(255, 255, 255)";
}

function rings() {
  const found = [];
  for (const one of targets()) {
    one.focus();
    if (document.activeElement !== one) continue;
    const places = [[one, null], [one, "::after"], [one.nextElementSibling, null], [one.closest("label"), null],
      [one.closest(".choose")?.querySelector(".drop"), null], [one.querySelector(".chosen"), null]];
    const seen = places.filter(([place]) => place).some(([place, part]) => {
      const style = getComputedStyle(place, part);
      const ground = groundOf(place.parentElement);
      const outlined = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2 &&
        (style.outlineStyle === "auto" || contrast(style.outlineColor, ground) >= MIN_CONTRAST);
      return outlined || place.matches(".chosen");
    });
    if (!seen) found.push(`${named(one)} shows no focus`);
  }
  document.activeElement?.blur();
  return found;
}

function edges() {
  return [...document.querySelectorAll("input:not([type=hidden], [type=checkbox], [type=radio], [type=range], [type=file]), select, textarea")]
    .filter(shown)
    .filter((one) => {
      const { borderBottomColor, borderBottomWidth } = getComputedStyle(one);
      return !parseFloat(borderBottomWidth) ||
        contrast(borderBottomColor, groundOf(one.parentElement)) < MIN_CONTRAST;
    })
    .map((one) => `${named(one)} has an edge that is hard to see`);
}

// -- engraved text ------------------------------------------------------------------------------

function engraved() {
  const found = new Map();
  for (const text of document.querySelectorAll(".engraved :is(text, tspan)")) {
    const own = [...text.childNodes].some((node) => node.nodeType === Node.TEXT_NODE && node.data.trim());
    if (!own || !shown(text)) continue;
    const { a, b } = text.getScreenCTM();
    const size = parseFloat(getComputedStyle(text).fontSize) * Math.hypot(a, b);
    const kind = text.closest("[class]:not(.text)").getAttribute("class");
    if (size < MIN_ENGRAVED_PX - 0.05) found.set(kind, `${px(size)} px: “${text.textContent.trim()}”`);
  }
  return [...found].map(([kind, size]) => `engraved ${kind} is ${size}`);
}

// -- 2.4.4, 2.4.6, 1.3.1: names -------------------------------------------------------------------

function names() {
  axe.setup(document);
  const ways = new Map();
  const add = (one, kind, to) => {
    const name = `${kind} “${axe.commons.text.accessibleText(one)}”`;
    ways.set(name, (ways.get(name) ?? new Set()).add(to));
  };
  for (const one of document.querySelectorAll("a[href]")) if (shown(one)) add(one, "link", one.href);
  for (const one of document.querySelectorAll("button"))
    if (shown(one) && one.form && one.type === "submit" && !one.form.closest("clip-desk")) {
      // Of two rows that say the same, nothing could tell the buttons apart.
      const row = one.closest("li")?.textContent.replace(/\s+/g, " ");
      add(one, "button", row ?? [one.getAttribute("formaction") ?? one.form.action, one.value].join(" "));
    }
  axe.teardown();
  return [...ways].filter(([, to]) => to.size > 1).map(([name, to]) => `${name} leads ${to.size} ways`);
}

function outline() {
  const found = [];
  const heads = [...document.querySelectorAll("h1, h2, h3, h4, h5, h6")].filter(shown);
  const levels = heads.map((head) => Number(head.localName[1]));
  if (levels.filter((level) => level === 1).length !== 1) found.push(`h1: ${levels.filter((level) => level === 1).length}`);
  levels.forEach((level, at) => {
    if (at && level > levels[at - 1] + 1) found.push(`${named(heads[at])} follows h${levels[at - 1]}`);
  });
  if (document.querySelectorAll("main").length !== 1) found.push("not one main");
  if (!document.documentElement.lang) found.push("no language");
  if (!document.title.trim()) found.push("no title");
  if (document.querySelector("[tabindex]:not([tabindex='0'], [tabindex='-1'])")) found.push("a positive tabindex");
  return found;
}

// -- without script ---------------------------------------------------------------------------------

function dead() {
  const live = (one) =>
    one.localName === "summary" || one.matches("video, audio, a[href]:not([href^='#']), a[href^='#']:not([href='#'])") ||
    (one.localName === "button" ? one.form && one.type !== "button" :
      one.matches("input, select, textarea") && one.form &&
      [...one.form.elements].some((other) => other.type === "submit" && shown(other)));
  return [...document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea")]
    .filter((one) => shown(one) && !one.disabled && !live(one))
    .map((one) => `${named(one)} does nothing without script`);
}

window.measures = { sticking, cutOff, lapping, small, focusing, rings, edges, engraved, names, outline, dead };
