// One take in the list: what it is, looking at it, and cutting its ends. It decides nothing about
// where it is kept or sent; `does` is told: {send, remove, change}, each with the take.

import { parsePlace, place } from "../figures.js";
import { newKey } from "../pages/server.js";
import { gettext } from "../translation.js";
import { kept, placesOf } from "./cutting.js";
import * as words from "./take-words.js";
import { fileOf } from "./takes.js";

const FAR_S = 1e7; // a place behind every end: going there tells a browser how long it is

export class TakeRow {
  #does;
  #address = ""; // of what is looked at
  #player = null;
  element;
  take;

  constructor(template, take, does) {
    this.#does = does;
    this.take = take;
    this.element = template.content.firstElementChild.cloneNode(true);
    this.element.addEventListener("click", ({ target }) => this.#press(target.closest("[data-do]")?.dataset.do));
    for (const button of this.element.querySelectorAll("[data-do]")) {
      button.setAttribute("aria-label", gettext("%(button)s: take %(number)s", {
        button: button.textContent.trim(),
        number: take.number,
      }));
    }
    this.show();
  }

  show() {
    const { number, broken, clipped, inHand, sending, cut: ends } = this.take;
    const said = [broken && words.BROKEN_OFF, clipped && words.CLIPPED, inHand && words.NOT_KEPT];
    this.#of("name").textContent = gettext("Take %(number)s", { number });
    this.#of("details").textContent = words.takeSaid(this.take);
    this.#of("notes").textContent = [...said, sending && words.ON_ITS_WAY, ends && words.cutSaid(ends)]
      .filter(Boolean).join(" ");
    this.#button("whole").hidden = !ends;
  }

  chosen(is) {
    this.element.toggleAttribute("data-chosen", is);
  }

  release() {
    URL.revokeObjectURL(this.#address);
    this.#player?.pause();
    this.element.remove();
  }

  // -- callbacks ------------------------------------------------------------------------------

  #press(what) {
    if (what === "send") this.#does.send(this);
    if (what === "delete") this.#does.remove(this);
    if (what === "look") this.#look();
    if (what === "from" || what === "to") this.#of(what).value = place(this.#player?.currentTime ?? 0, 1);
    if (what === "cut") this.#cut();
    if (what === "whole") this.#end(null, gettext("All of it is sent."));
  }

  async #look() {
    const opens = this.#of("looking").hidden;
    this.#of("looking").hidden = !opens;
    this.#button("look").setAttribute("aria-expanded", String(opens));
    if (!opens) return void this.#player?.pause();
    if (this.#player) return;
    const file = await fileOf(this.take);
    if (!file) return void this.#say(gettext("This browser has lost it."));
    this.#put(file);
    const { points } = await placesOf(file);
    this.#of("cutting").hidden = points.length < 2;
    if (points.length < 2) this.#say(words.UNCUT);
    this.#of("from").value = place(this.take.cut?.fromS ?? 0, 1);
    this.#of("to").value = place(this.take.cut?.toS ?? this.take.seconds, 1);
  }

  async #cut() {
    const [fromS, toS] = ["from", "to"].map((name) => parsePlace(this.#of(name).value));
    if (fromS === null || toS === null || fromS >= toS) {
      this.#say(gettext("Say where it begins and where it ends, such as 0:03 and 0:41."));
      return;
    }
    const file = await fileOf(this.take);
    const stays = file && kept(await placesOf(file), fromS, toS, this.take.seconds);
    if (!stays) this.#say(gettext("There is nothing to cut: all of it lies in between."));
    else this.#end({ fromS: stays.fromS, toS: stays.toS }, gettext("The ends are cut."));
  }

  #end(ends, said) {
    this.take.cut = ends;
    this.take.key = newKey(); // other bytes are another upload
    this.#say(said);
    this.show();
    this.#does.change(this);
  }

  #put(file) {
    const player = document.createElement(file.type.startsWith("video") ? "video" : "audio");
    this.#address = URL.createObjectURL(file);
    player.onloadedmetadata = () => {
      if (Number.isFinite(player.duration)) return;
      player.ondurationchange = () => {
        player.ondurationchange = null;
        player.currentTime = 0;
      };
      player.currentTime = FAR_S;
    };
    Object.assign(player, { controls: true, playsInline: true, src: this.#address });
    player.setAttribute("aria-label", gettext("Take %(number)s", { number: this.take.number }));
    player.className = "look";
    this.#of("player").replaceChildren(player);
    this.#player = player;
  }

  // -- internals ------------------------------------------------------------------------------

  #say(sentence) {
    this.#of("said").textContent = sentence;
  }

  #button(name) {
    return this.element.querySelector(`[data-do="${name}"]`);
  }

  #of(name) {
    return this.element.querySelector(`[data-of="${name}"]`);
  }
}
