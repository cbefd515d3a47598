// Says aloud what an exchange brought. A reader of the screen speaks a change of text in a region it
// knows; a region that arrives together with its words is often passed over. So what is told in a
// part that htmx put into the page is written, a moment later, into the one region that was there.

const TOLD = "[role=status], [role=alert]";

document.addEventListener("htmx:afterSettle", ({ target }) => {
  const region = document.getElementById("aloud");
  if (!region || region.contains(target)) return;
  const words = [target, ...target.querySelectorAll(TOLD)]
    .filter((one) => one.matches(TOLD) && one.checkVisibility())
    .map((one) => one.textContent.replace(/\s+/g, " ").trim());
  const told = words.filter(Boolean).join(" ");
  if (told && told !== region.textContent) region.textContent = told;
});
