// The service worker. While there is a line it does nothing but pass pages through: recordings,
// uploads, scripts and styles are left to the browser. Without a line it shows the copies that
// keep.js put aside. It keeps nothing itself but the page that says that there is no line.
//
// A copy belongs to one person. Every answer of the studio says whose session it was asked in
// (X-Person), and what is kept of anybody else goes at once: after a log-out, another log-in, a
// session that ended elsewhere. Its names are those of copies.js, which a classic script cannot import.

const COPIES = "studio-kept-"; // then the person
const FILES = "studio-files";
const LIST = "X-Kept-List";
const KEPT_AT = "X-Kept-At"; // ms
const MOST_MS = 30 * 24 * 60 * 60 * 1000; // as long as a session lasts
const KEPT_FILES = /^\/(static|words)\//; // the words: what scripts say in another language
const NO_LINE = "/offline/";
const HOMES = ["/queue/", "/children/"]; // where "/" leads
// The pages of pupils and guardians, and where somebody logs in. A teacher's own are no business of
// ours; a clip's page may be hers, and is then passed through and never kept.
const PAGES = [
  /^\/(queue\/|children\/|record\/|send\/|log-in\/|account\/|offline\/)?$/,
  /^\/(children|assignments|lessons|questions)\/[0-9]+\/([a-z-]+\/)?$/,
  /^\/clips\/[0-9a-f-]+\/$/,
];
const GONE = [403, 404, 410];
const NEVER = ["/uploads/*", "/clips/*/media/", "/clips/*/small/"]; // these do not even wake it

let lost = false; // the last page came by no line

self.addEventListener("install", (event) => {
  self.skipWaiting(); // it holds nothing that an older page would need of an older worker
  event.waitUntil(keepNoLine());
  const routes = NEVER.map((urlPattern) => ({ condition: { urlPattern }, source: "network" }));
  event.addRoutes?.(routes).catch(() => {}); // where the browser knows routes
});

self.addEventListener("activate", (event) => {
  event.waitUntil(Promise.all([self.clients.claim(), self.registration.navigationPreload?.enable()]));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (request.method !== "GET") return;
  const { origin, pathname } = new URL(request.url);
  if (origin !== self.location.origin) return;
  if (request.mode === "navigate") {
    if (PAGES.some((page) => page.test(pathname))) event.respondWith(page(event, pathname));
  } else if ((lost || !navigator.onLine) && KEPT_FILES.test(pathname)) {
    event.respondWith(file(request));
  }
});

async function keepNoLine() {
  const said = await fetch(NO_LINE, { credentials: "omit" });
  if (said.ok) await (await caches.open(FILES)).put(NO_LINE, said);
}

/** The page itself, always, where there is a line; else its copy. */
async function page(event, path) {
  let answer;
  try {
    answer = (await event.preloadResponse) ?? (await fetch(event.request));
  } catch {
    lost = true;
    return copyOf(path);
  }
  lost = false;
  event.waitUntil(heed(answer, path));
  return answer;
}

/** What an answer says of the copies: whose they may be, and that this one is no longer to be had. */
async function heed(answer, path) {
  const person = answer.headers.get("X-Person");
  const names = (await caches.keys()).filter((name) => name.startsWith(COPIES));
  if (person) await Promise.all(names.filter((name) => name !== COPIES + person).map((name) => caches.delete(name)));
  if (GONE.includes(answer.status)) await Promise.all(names.map((name) => drop(name, path)));
}

/** Without the page itself, and without what was kept by its list. */
async function drop(name, path) {
  const copies = await caches.open(name);
  for (const request of await copies.keys()) {
    const copy = await copies.match(request);
    const gone = new URL(request.url).pathname === path || copy?.headers.get(LIST) === path;
    if (gone) await copies.delete(request);
  }
}

async function copyOf(path) {
  if (path === "/") {
    for (const home of HOMES) if (await kept(home)) return Response.redirect(home);
  }
  return (await kept(path)) ?? (await caches.match(NO_LINE)) ?? Response.error();
}

async function kept(path) {
  for (const name of (await caches.keys()).filter((each) => each.startsWith(COPIES))) {
    const copies = await caches.open(name);
    const copy = await copies.match(path, { ignoreVary: true });
    if (copy && Date.now() - Number(copy.headers.get(KEPT_AT)) < MOST_MS) return copy;
    if (copy) await copies.delete(path);
  }
  return undefined;
}

/** A published file's name is made of its content: the kept one is the one that is asked for. */
async function file(request) {
  return (await caches.match(request, { cacheName: FILES, ignoreVary: true })) ?? fetch(request);
}
