// Words with a plain vowel: in the language of tests/pseudo_locale.py no translated one has any.
// What a page shows of rows (names, titles, addresses) is given in `known`, in small letters.

const READ = ["aria-label", "title", "placeholder", "alt", "aria-valuetext", "aria-description"];
const SILENT = "script, style, template, svg, body [lang], code, kbd";

function untranslated(known) {
  const found = new Set();
  const look = (one, text) => {
    const words = (text.match(/[\p{L}\p{M}'’@.-]+/gu) ?? [])
      .filter((word) => /^[a-z]{3,}$/i.test(word.replace(/[.'’-]+$/, "")) && /[aeiou]/i.test(word))
      .map((word) => word.replace(/[.'’-]+$/, ""))
      .filter((word) => !known.includes(word.toLowerCase()));
    if (words.length) found.add(`${one.localName}.${one.className || ""}: ${words.join(" ")}: “${text.trim().replace(/\s+/g, " ").slice(0, 90)}”`);
  };
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const { parentElement: one, data } = walker.currentNode;
    if (!one.closest(SILENT)) look(one, data);
  }
  for (const name of READ)
    for (const one of document.querySelectorAll(`[${name}]`))
      if (!one.closest(SILENT)) look(one, one.getAttribute(name));
  return [...found];
}

void (window.untranslated = untranslated); // a function as the last value would be called
