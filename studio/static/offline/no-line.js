// On the page that stands for one that is not kept: what is kept, as ways in; and the page itself as
// soon as there is a line.

import { titles } from "./copies.js";

async function show() {
  const list = document.querySelector("[data-kept-pages]");
  list.append(...(await titles()).map(row));
  document.querySelector("[data-kept]").hidden = !list.children.length;
}

function row({ path, title }) {
  const item = document.createElement("li");
  const link = item.appendChild(document.createElement("a"));
  link.href = path;
  link.textContent = title;
  return item;
}

if ("caches" in globalThis) show();
// Whoever is on the way to another page is not called back to this one.
let leaves = false;
addEventListener("beforeunload", () => { leaves = true; });
addEventListener("pageshow", () => { leaves = false; });
addEventListener("online", () => { if (!leaves) location.reload(); });
