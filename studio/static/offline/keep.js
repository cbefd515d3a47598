// On the home pages of pupils and guardians: keeps copies of what the page names (#keeps) for when
// there is no line, once the page has stood for a while, so that nothing the person does waits for
// it. What has not changed is not asked for again.

import { megabytes } from "../figures.js";
import { gettext } from "../translation.js";
import * as copies from "./copies.js";

const LATER_MS = 3000; // after the page has come; chosen
const AGAIN_MS = 5000; // where some of it could not be had; chosen
const NO_ROOM = gettext("This device has no room left: the drills cannot be kept here for when there is no line.");

const keeps = JSON.parse(document.querySelector("#keeps").textContent);
let tries = 3; // while the page stands
const panel = document.querySelector("[data-kept-here]");

const isPossible = () => isSecureContext && "serviceWorker" in navigator && "caches" in globalThis;

function begin() {
  panel.querySelector("button").addEventListener("click", change);
  setTimeout(() => keep().catch(() => {}), LATER_MS); // no line: what is kept stays
}

async function keep() {
  if (copies.declined(keeps.person)) return say(gettext("Nothing is kept on this device."), gettext("Keep the drills here"));
  // The browser looks for a newer worker by itself; one that may not be has no page to show.
  if (!(await navigator.serviceWorker.register("/worker.js"))) return undefined;
  try {
    await copies.forgetCopies({ but: keeps.person });
    await bring();
  } catch (error) {
    if (error instanceof copies.NotTheirs) return copies.forgetCopies();
    if (error instanceof copies.NoRoom) return copies.forgetCopies().then(() => say(NO_ROOM, ""));
    // else the line went or the studio was busy: what was kept before stays, the rest is tried again
    if ((tries -= 1) > 0) setTimeout(() => keep().catch(() => {}), AGAIN_MS);
  }
  return tell();
}

/** Ask for what is new, old or changed; drop what the page names no more. */
async function bring() {
  const isNewer = (await copies.filesMark()) !== keeps.files.mark;
  const files = isNewer ? await copies.keepFiles(keeps.files) : null;
  const kept = await copies.keptOf(keeps.person);
  const wanted = keeps.pages.filter((page) => isNewer || !isFresh(page, kept));
  for (const page of wanted) {
    if (!(await copies.keepPage(keeps.person, keeps.home, page))) await copies.dropPage(keeps.person, page.path);
  }
  for (const { path } of kept.filter(isGone)) await copies.dropPage(keeps.person, path);
  if (files) await copies.dropFiles(files);
}

function isFresh({ path, mark, again_s: againS }, kept) {
  const copy = kept.find((each) => each.path === path);
  return copy?.mark === mark && Date.now() - copy.keptAt < againS * 1000;
}

/** Of this home page and not named any more, or of a child that is not theirs any more. */
function isGone({ path, list }) {
  if (list === keeps.home) return !keeps.pages.some((page) => page.path === path);
  return Boolean(keeps.homes) && list.startsWith(keeps.home) && !keeps.homes.includes(list);
}

async function tell() {
  if (!(await copies.keptOf(keeps.person)).length) return;
  const size = megabytes(await copies.room(keeps.person));
  const words = gettext("The drills, their sound and the newest answers are kept on this device for when there "
    + "is no line: %(size)s. Logging out removes them.", { size });
  say(words, gettext("Do not keep them"));
}

async function change() {
  const keepsNow = !copies.declined(keeps.person);
  copies.decline(keeps.person, keepsNow);
  if (keepsNow) await copies.forgetCopies();
  await keep().catch(() => {});
}

function say(words, press) {
  const button = panel.querySelector("button");
  panel.hidden = false;
  panel.querySelector("p").textContent = words;
  button.textContent = press;
  button.hidden = !press;
}

if (isPossible()) {
  if (document.readyState === "complete") begin();
  else addEventListener("load", begin);
}
