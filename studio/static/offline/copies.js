// The copies of pages that this browser keeps for when there is no line, by person. The worker
// shows them; its own names are the same.

const COPIES = "studio-kept-"; // then the person
const FILES = "studio-files";
const LIST = "X-Kept-List";
const KEPT_AT = "X-Kept-At"; // ms
const MARK = "X-Kept-Mark";
const FILES_MARK = "/offline/files/"; // kept under this address: which files are there
const DECLINED = "studio:keeps-nothing:"; // then the person

export class NotTheirs extends Error {} // somebody else is logged in by now, or nobody
export class NoRoom extends Error {}

/** Ask for a page and put it aside; false where there is none. `list`: the home page that names it. */
export async function keepPage(person, list, { path, mark }) {
  const answer = await fetch(path, { headers: { "X-Keep": "1" }, redirect: "follow" });
  const whose = answer.headers.get("X-Person");
  if (whose !== null && whose !== String(person)) throw new NotTheirs();
  if (whose === null || answer.status >= 500) throw new Error(`no page at ${path}: ${answer.status}`);
  if (!answer.ok || answer.redirected) return false;
  const headers = new Headers(answer.headers);
  for (const name of ["Content-Encoding", "Content-Length", "Vary"]) headers.delete(name);
  headers.set(LIST, list);
  headers.set(KEPT_AT, String(Date.now()));
  headers.set(MARK, mark);
  const body = await answer.blob();
  await put(COPIES + person, path, new Response(body, { headers }));
  return true;
}

/** What is kept of a person: [{path, list, mark, keptAt (ms)}]. */
export async function keptOf(person) {
  const copies = await caches.open(COPIES + person);
  const requests = await copies.keys();
  return Promise.all(requests.map(async (request) => {
    const copy = await copies.match(request);
    const said = (name) => copy.headers.get(name);
    return { path: new URL(request.url).pathname, list: said(LIST), mark: said(MARK), keptAt: Number(said(KEPT_AT)) };
  }));
}

/** How much of this device all of it takes, scripts and styles too, in bytes. */
export async function room(person) {
  const kept = await Promise.all([COPIES + person, FILES].map((name) => caches.open(name)));
  const found = await Promise.all(kept.map(async (cache) => {
    const all = await cache.matchAll();
    return Promise.all(all.map(async (one) => (await one.blob()).size));
  }));
  return found.flat().reduce((sum, bytes) => sum + bytes, 0);
}

/** Every kept page, whoever's, for a list of ways in: [{path, title}]. */
export async function titles() {
  const found = [];
  for (const name of (await caches.keys()).filter((each) => each.startsWith(COPIES))) {
    const copies = await caches.open(name);
    for (const request of await copies.keys()) {
      const text = await (await copies.match(request)).text();
      const { title } = new DOMParser().parseFromString(text, "text/html");
      found.push({ path: new URL(request.url).pathname, title: title.replace(/ · Studio$/, "") });
    }
  }
  return found;
}

export async function dropPage(person, path) {
  await (await caches.open(COPIES + person)).delete(path);
}

/** Forget the copies of everybody, or of everybody else. */
export async function forgetCopies({ but = null } = {}) {
  const names = (await caches.keys()).filter((name) => name.startsWith(COPIES) && name !== COPIES + but);
  await Promise.all(names.map((name) => caches.delete(name)));
}

/** Which version of the files is here; "" for none. */
export async function filesMark() {
  const said = await caches.match(FILES_MARK, { cacheName: FILES });
  return said ? said.text() : "";
}

/** Bring the kept scripts and styles to what is needed now. */
export async function keepFiles({ at, mark }) {
  const { files } = await (await fetch(at)).json();
  const kept = await caches.open(FILES);
  const there = (await kept.keys()).map(({ url }) => new URL(url).pathname);
  for (const address of files.filter((each) => !there.includes(new URL(each, location).pathname))) {
    const answer = await fetch(address);
    if (answer.ok) await put(FILES, address, answer);
  }
  await put(FILES, FILES_MARK, new Response(mark));
  return files;
}

/** Remove the files that no kept page needs any more. */
export async function dropFiles(needed) {
  const kept = await caches.open(FILES);
  const stays = new Set(needed.map((each) => new URL(each, location).pathname));
  for (const request of await kept.keys()) {
    const { pathname } = new URL(request.url);
    if (/^\/(static|words)\//.test(pathname) && !stays.has(pathname)) await kept.delete(request);
  }
}

/** Whether the person wants nothing kept on this device. */
export function declined(person) {
  try {
    return localStorage.getItem(DECLINED + person) !== null;
  } catch {
    return true; // a browser that keeps nothing keeps no copies
  }
}

export function decline(person, nothing) {
  if (nothing) localStorage.setItem(DECLINED + person, "1");
  else localStorage.removeItem(DECLINED + person);
}

async function put(name, address, answer) {
  const cache = await caches.open(name);
  try {
    await cache.put(address, answer);
  } catch (error) {
    throw error.name === "QuotaExceededError" ? new NoRoom() : error;
  }
}
