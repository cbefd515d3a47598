// What a press on one of the desk's forms asks for, as an act that can be kept and sent later. The
// token of the session is not part of it: it is the one that holds when the act is sent.

const LEFT_OUT = ["csrfmiddlewaretoken"];

/** { key, kind, action, fields, form, … } of a form, by what its data-exchange says. */
export function actOf(form, submitter, key, when) {
  const data = [...new FormData(form, submitter)].filter(([name]) => !LEFT_OUT.includes(name));
  const fields = data.filter(([, value]) => typeof value === "string");
  const files = data.filter(([, value]) => value instanceof File && value.size);
  const kind = form.dataset.exchange || "other";
  const address = new URL(submitter?.getAttribute("formaction") ?? form.action, location.href);
  const act = { key, kind, when, action: address.pathname + address.search, fields };
  Object.assign(act, { form: form.id, draft: form.dataset.draft });
  return { act: { ...act, ...(SHOWN[kind]?.(form) ?? {}) }, file: files[0] ?? null };
}

/** Keep or drop: nothing but that. The words of a mark stay as they are. */
export function decisionOf(article, choice, key, when) {
  const form = article.querySelector("form.decision");
  const { about } = article.dataset;
  const fields = [
    ["choice", choice],
    ["listening", form.elements.listening.value],
    ["about", about],
  ];
  return { key, kind: "decide", when, action: new URL(form.action).pathname, fields, mark: about };
}

const wordsIn = (form, name) => form.elements[name]?.value.trim() ?? "";

const SHOWN = {
  words: (form) => ({ mark: form.closest("[data-about]").dataset.about, show: "words", words: wordsIn(form, "words") }),
  comment: (form) => ({ show: "new", words: wordsIn(form, "text") }),
  mark: (form) => ({ show: "new", words: wordsIn(form, "words") }),
  edit: (form) => {
    const field = form.elements.text ?? form.elements.words;
    return { at: form.closest("[data-moment]").id, show: "words", words: field.value.trim() };
  },
  delete: (form) => ({ at: form.closest("[data-gone], [data-moment]")?.id, show: "gone" }),
};

/** Words that are edited go with what they were, so that the server knows what was seen. */
export function withWas(form, act) {
  const field = { words: form.elements.words, edit: form.elements.text ?? form.elements.words }[act.kind];
  if (!field) return act;
  const more = [["was", field.defaultValue], ...(act.mark ? [["about", act.mark]] : [])];
  field.defaultValue = field.value;
  return { ...act, fields: [...act.fields, ...more] };
}
