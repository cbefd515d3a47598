// A sentence of a page's script in the reader's language. Pure.
//
// In English the words stand where they are said. In another language the page brings Django's own
// catalogue ahead of its modules, and these ask it. Places are named, so that a language can put
// them in its order: gettext("%(count)s of %(all)s", { count, all }).

const words = globalThis.django ?? {};
const PLACE = /%(?:\((\w+)\)s|%)/g;

/** The sentence, with `places` filled in where there are any. */
export function gettext(sentence, places) {
  return filled(words.gettext?.(sentence) ?? sentence, places);
}

/** The form of a sentence for a number of things, which `%(count)s` says in it. */
export function ngettext(one, many, count, places) {
  const sentence = words.ngettext?.(one, many, count) ?? (count === 1 ? one : many);
  return filled(sentence, { count, ...places });
}

function filled(sentence, places) {
  return places ? sentence.replace(PLACE, (sign, name) => (name ? places[name] : "%")) : sentence;
}
