// Keeps the keys that are pressed while the page still loads, so that of "n k" not only the "k" is
// acted on. Not a module: modules run once the whole page is there. keys.js hands them on.

window.earlyKeys = [];
addEventListener("keydown", (event) => window.earlyKeys?.push(event));
