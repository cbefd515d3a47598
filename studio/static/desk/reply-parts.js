// What <reply-recorder> puts before its form's file field.

import { gettext } from "../translation.js";

export const PARTS = `
  <p class="row" data-part="begin">
    <button type="button" data-record="voice">${gettext("Record voice")}</button>
    <button type="button" data-record="video">${gettext("Record video")}</button>
  </p>
  <div data-part="live" hidden>
    <video class="camera" data-part="camera" muted playsinline hidden></video>
    <p class="row">
      <button type="button" class="main" data-part="stop">${gettext("Stop recording")}</button>
      <output data-part="time"></output>
      <span class="level" aria-hidden="true"><span data-part="level"></span></span>
    </p>
  </div>
  <div class="made" data-part="made" hidden>
    <div data-part="player"></div>
    <p class="row">
      <span class="small" data-part="details"></span>
      <button type="button" class="plain small" data-part="remove">${gettext("Remove the reply")}</button>
    </p>
  </div>
  <p class="small" role="status" data-part="words"></p>`;
