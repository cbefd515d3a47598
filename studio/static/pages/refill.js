// Puts what was sent after the log-in had run out back into its form, where the page has it.
// Where it has not, the notice that holds the words stays as it came, with its own button.

const TYPED = "textarea, select, input:not([type=hidden], [type=file], [type=password])";

export function refill(notice) {
  const fields = JSON.parse(document.getElementById("kept-words").textContent);
  const form = formOf(notice, fields.map(([name]) => name));
  if (!form) return;
  for (const field of form.querySelectorAll(TYPED)) put(field, fields);
  for (let part = form; part; part = part.parentElement) if (part.matches("details")) part.open = true;
  notice.querySelector("[data-again]").remove();
  notice.querySelector("[data-said]").hidden = true;
  notice.querySelector("[data-refilled]").hidden = false;
}

/** The only form that sends to that address and has a field to type in for the words. */
function formOf(notice, names) {
  const found = [...document.forms].filter((form) => {
    if (notice.contains(form) || form.method !== "post") return false;
    const { pathname, search } = new URL(form.action, location.href);
    const typed = [...form.querySelectorAll(TYPED)];
    return pathname + search === notice.dataset.action && typed.some(({ name }) => names.includes(name));
  });
  return found.length === 1 ? found[0] : null;
}

function put(field, fields) {
  const values = fields.filter(([name]) => name === field.name).map(([, value]) => value);
  if (field.matches("[type=checkbox], [type=radio]")) field.checked = values.includes(field.value);
  else if (values.length) field.value = values[0];
  field.dispatchEvent(new Event("input", { bubbles: true }));
}
