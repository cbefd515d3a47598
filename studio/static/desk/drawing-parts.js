// What the drawing dialog consists of.

import { gettext } from "../translation.js";

const KINDS = [["arrow", gettext("Arrow")], ["circle", gettext("Circle")], ["line", gettext("Line")], ["label", gettext("Words")]];

export const PARTS = `
  <form method="dialog" class="draw">
    <h2 id="draw-title">${gettext("Draw on the picture")}</h2>
    <div class="still">
      <canvas aria-hidden="true"></canvas>
      <svg class="strokes" tabindex="0" role="application" aria-roledescription="${gettext("picture to draw on")}"
           aria-label="${gettext("The picture. Arrow keys move a cross, Enter sets a point.")}"></svg>
    </div>
    <div class="row tools">
      <fieldset class="kinds"><legend class="out-of-sight">${gettext("Draw")}</legend>${KINDS.map(([kind, name]) => `
        <label class="kind"><input type="radio" name="tool" value="${kind}"${kind === "arrow" ? " checked" : ""}><span>${name}</span></label>`).join("")}
      </fieldset>
      <label data-part="label-row" hidden>${gettext("Words to write")}
        <input data-part="label" maxlength="60" list="draw-words" autocomplete="off">
        <datalist id="draw-words"><option value="${gettext("left hand")}"><option value="${gettext("bow arm")}"></datalist>
      </label>
      <button type="button" data-part="undo">${gettext("Undo")}</button>
      <button type="button" data-part="clear">${gettext("Clear")}</button>
    </div>
    <div class="field">
      <label for="draw-shows">${gettext("What it shows")}</label>
      <input id="draw-shows" data-part="shows" maxlength="300" autocomplete="off"
             aria-describedby="draw-hint" placeholder="${gettext("The wrist bends in; the arrow shows where it belongs")}">
      <p class="hint" id="draw-hint">${gettext("For whoever cannot see the picture.")}</p>
    </div>
    <p class="small" role="status" data-part="words"></p>
    <div class="row">
      <button type="submit" class="main">${gettext("Done")}</button>
      <button type="button" class="plain" data-part="discard">${gettext("Discard the drawing")}</button>
    </div>
  </form>`;
