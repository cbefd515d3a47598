// Makes a part of the page say what the server says, in place: what is the same stays the same
// element. So the focus, a selection, a recording that plays and words that are being written stay
// where they are, whatever arrives.

// Set by the page itself; an answer neither sets nor removes them.
const OWN = ["tabindex", "aria-current", "title", "style"];
const OWN_DATA = ["selected", "pending", "over", "kept", "restored"].map((name) => `data-${name}`);
const OWN_CLASSES = ["sounding", "pointed"];
const FIELDS = "input, textarea, select";

/** `fresh`: the form whose fields are taken over as they come, or null: its words were refused. */
export function morph(old, now, fresh = null) {
  if (old.tagName !== now.tagName) return void old.replaceWith(now);
  if (old.matches("form[data-draft]") && old !== fresh && isBeingWritten(old)) return;
  if (fresh && old.localName === "input") input(old, now);
  attributes(old, now, fresh);
  if (old.matches(FIELDS)) return void field(old, now, fresh);
  if (old.localName === "reply-recorder") return; // builds itself, and may be recording
  children(old, now, fresh);
}

/** Whether a form holds what no server has, or is just being filled in. */
export function isBeingWritten(form) {
  const held = document.activeElement;
  if ("kept" in form.dataset || (form.contains(held) && held.matches(FIELDS))) return true;
  return [...form.elements].some(({ type, files }) => type === "file" && files.length > 0);
}

function attributes(old, now, fresh) {
  for (const { name, value } of now.attributes) {
    if (isOwn(name) || (name === "open" && !fresh)) continue;
    const wanted = name === "class" ? classes(old, value) : value;
    if (old.getAttribute(name) !== wanted) old.setAttribute(name, wanted);
  }
  for (const { name } of [...old.attributes]) {
    if (now.hasAttribute(name) || isOwn(name) || name === "open") continue;
    if (name === "class" && classes(old, "")) old.className = classes(old, "");
    else old.removeAttribute(name);
  }
}

const isOwn = (name) => OWN.includes(name) || OWN_DATA.includes(name);

function classes(old, value) {
  const own = OWN_CLASSES.filter((name) => old.classList.contains(name));
  return [value, ...own].filter(Boolean).join(" ");
}

/** A field that was changed keeps what was put there, but where its form is to be as it came. */
function field(old, now, fresh) {
  if (old.localName === "select") {
    if (!old.isEqualNode(now) && old !== document.activeElement) old.replaceChildren(...now.childNodes);
  } else if (old.localName === "textarea") {
    const touched = old.value !== old.defaultValue && !fresh;
    if (old.defaultValue !== now.defaultValue) old.defaultValue = now.defaultValue;
    if (!touched) old.value = now.value;
  }
}

/** An attribute is not what an input shows, once something was typed or put there. */
function input(old, now) {
  if (["radio", "checkbox"].includes(old.type)) old.checked = now.checked;
  else if (old.type !== "file" && old.defaultValue !== now.defaultValue) old.value = now.value;
}

const keyOf = (node) => node.dataset?.about || node.id || "";

function children(old, now, fresh) {
  const keyed = new Map([...old.children].filter(keyOf).map((node) => [keyOf(node), node]));
  const wanted = new Set([...now.children].map(keyOf).filter(Boolean));
  let at = old.firstChild;
  for (const next of [...now.childNodes]) {
    at = skipOwn(at, wanted);
    const same = keyOf(next) ? (keyed.get(keyOf(next)) ?? null) : isLike(at, next) ? at : null;
    if (same && same !== at) old.insertBefore(same, at);
    if (!same) old.insertBefore(next, at);
    else at = same.nextSibling;
    if (same?.nodeType === Node.ELEMENT_NODE) morph(same, next, fresh);
    else if (same && same.nodeValue !== next.nodeValue) same.nodeValue = next.nodeValue;
  }
  while ((at = skipOwn(at, null))) {
    const gone = at;
    at = at.nextSibling;
    gone.remove();
  }
}

/** What the page put there itself stays; what has a key of its own waits for its turn or goes. */
function skipOwn(node, wanted) {
  let at = node;
  while (at && (at.dataset?.own !== undefined || (wanted && keyOf(at) && !wanted.has(keyOf(at))))) {
    const next = at.nextSibling;
    if (at.dataset.own === undefined) at.remove();
    at = next;
  }
  return at;
}

function isLike(old, now) {
  if (!old || old.nodeType !== now.nodeType) return false;
  return old.nodeType !== Node.ELEMENT_NODE || (old.tagName === now.tagName && !keyOf(old));
}
