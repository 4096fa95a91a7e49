// The page at work: one passage sounds at a time; the bars are the only place display.
"use strict";

{
  const klangprobe = globalThis.klangprobe;
  const { one, all, make, audio, fetched, decoded } = klangprobe;
  const passages = new Map();
  let sounding = null;

  // ---- a passage ------------------------------------------------------------------------------------------------

  class Passage {
    constructor(data) {
      this.data = data;
      this.set = null; // what a trial sets in place of the listener's choices
      this.section = document.getElementById(data.slug);
      this.button = one(this.section, ".play");
      this.at = one(this.section, ".at");
      this.state = one(this.section, ".state");
      this.choices = all(this.section, ".variants input[type=radio]");
      this.weights = all(this.section, ".weight input");
      this.again = one(this.section, ".again input");
      this.figure = one(this.section, ".bars");
      this.resume = 0;
      this.run = 0;
      this.mix = null;
      this.buffers = null;
      this.silent = new Set();
      this.alone = new Set();
      this.lit = [];
      this.#listen();
    }

    #listen() {
      this.button.onclick = () => this.toggle();
      for (const choice of this.choices) choice.onchange = () => this.mix?.choose(this.chosen);
      for (const weight of this.weights) weight.onchange = () => this.mix?.weigh(this.weight);
      this.again.onchange = () => this.mix?.repeat(this.again.checked);
      this.figure?.addEventListener("click", (event) => {
        const bar = event.target.closest("[data-bar]");
        if (bar) this.goto(this.data.bars[Number(bar.dataset.bar)][1]);
      });
      const players = one(this.section, "details.by-player");
      players?.addEventListener("toggle", () => players.open && this.#showPlayers(players));
    }

    get chosen() {
      return Math.max(0, this.choices.findIndex((choice) => choice.checked));
    }

    get weight() {
      return this.weights.find((weight) => weight.checked)?.value ?? "equal";
    }

    /** Choose a variant as if by hand. */
    choose(row) {
      if (!this.choices[row]) return;
      this.choices[row].checked = true;
      this.mix?.choose(row);
    }

    async load() {
      if (this.buffers) return this.buffers;
      this.say("One moment: unpacking the clips.");
      const clips = await fetched(this.data.slug);
      const made = []; // a number stands for the row of an equal clip
      for (const clip of clips) made.push(typeof clip === "number" ? made[clip] : decoded(clip));
      this.buffers = await Promise.all(made);
      this.say("");
      return this.buffers;
    }

    async toggle() {
      return sounding === this ? this.stop() : this.play(this.resume);
    }

    async play(offset = 0) {
      sounding?.stop();
      for (const other of passages.values()) if (other !== this) other.forget();
      const run = (this.run += 1);
      this.resume = offset; // stopping has set it to the place reached; keys may move it on until there is sound
      sounding = this;
      this.button.textContent = "Stop";
      this.section.classList.add("playing");
      try {
        await audio().resume();
        await this.load();
        if (this.needsPlayers()) await this.loadPlayers();
      } catch {
        this.stop();
        this.say("The clips of this passage could not be opened. Is the folder “page” still beside this file?");
        return;
      }
      if (run !== this.run || sounding !== this) return;
      this.mix = this.newMix();
      this.mix.onended = () => this.ended();
      this.mix.start(this.resume);
      if (this.needsPlayers()) this.applyPlayers();
      this.#follow();
    }

    /** Let go of decoded sound: some 20 MB a minute and variant, and only one passage sounds at a time. */
    forget() {
      this.buffers = null;
      this.sounds = null;
    }

    newMix() {
      const variants = this.data.variants.map((variant, row) => ({ ...variant, buffer: this.buffers[row] }));
      const chosen = { chosen: this.chosen, weight: this.weight, again: this.again.checked };
      return new klangprobe.Mix(audio(), this.set?.lines ?? variants, this.set ?? chosen);
    }

    stop() {
      this.run += 1; // whatever is still being unpacked is no longer wanted
      if (this.mix) {
        const place = this.mix.place();
        this.resume = this.#barAt(place)?.[1] ?? 0;
        this.mix.stop();
        this.mix = null;
      }
      if (sounding === this) sounding = null;
      this.button.textContent = "Listen";
      this.section.classList.remove("playing");
      this.light(-1, -1);
    }

    ended() {
      this.mix = null;
      this.stop();
      this.resume = 0;
      this.at.textContent = "";
    }

    say(words) {
      this.state.textContent = words;
    }

    goto(seconds) {
      this.resume = seconds;
      this.#showPlace(seconds);
      if (this.mix) this.play(seconds);
      else this.light(this.#momentAt(seconds), this.#barRow(seconds));
    }

    /** Bars back or on from the place reached. */
    step(bars) {
      const here = this.#barRow(this.mix ? this.mix.place() : this.resume);
      const row = Math.min(this.data.bars.length - 1, Math.max(0, here + bars));
      if (this.data.bars[row]) this.goto(this.data.bars[row][1]);
    }

    // ---- following ----------------------------------------------------------------------------------------------

    #row(times, seconds) {
      let row = -1;
      while (row + 1 < times.length && times[row + 1] <= seconds + 1e-4) row += 1;
      return row;
    }

    #barRow(seconds) {
      return Math.max(0, this.#row(this.data.bars.map((bar) => bar[1]), seconds));
    }

    #barAt(seconds) {
      return this.data.bars[this.#barRow(seconds)];
    }

    #momentAt(seconds) {
      return this.#row(this.data.moments, seconds);
    }

    #showPlace(seconds) {
      const bar = this.#barAt(seconds);
      const words = bar ? `bar ${bar[0]}` : "";
      if (this.at.textContent !== words) this.at.textContent = words;
    }

    #follow() {
      const mix = this.mix;
      const step = () => {
        if (this.mix !== mix || !mix) return;
        const begin = this.set?.from ?? 0; // a trial may play a stretch only
        const place = begin + mix.place(audio().currentTime - (audio().outputLatency || 0));
        this.#showPlace(place);
        this.light(this.#momentAt(place), this.#barRow(place));
        requestAnimationFrame(step);
      };
      step();
    }

    /** Mark the notes of a moment and the bar they stand in (−1: none). */
    light(moment, bar) {
      if (moment === this.moment && bar === this.bar) return;
      [this.moment, this.bar] = [moment, bar];
      for (const element of this.lit) element.classList.remove("now");
      this.lit = this.figure ? all(this.figure, `[data-m="${moment}"], [data-bar="${bar}"]`) : [];
      for (const element of this.lit) element.classList.add("now");
    }

    // ---- player by player ---------------------------------------------------------------------------------------

    get players() {
      return this.data.players;
    }

    heard(name) {
      return this.alone.size ? this.alone.has(name) : !this.silent.has(name);
    }

    needsPlayers() {
      return !this.set && this.players.some((name) => !this.heard(name));
    }

    async loadPlayers() {
      if (this.sounds) return;
      this.say("One moment: unpacking the players.");
      const clips = await fetched(`${this.data.slug}.players`);
      this.sounds = new Map();
      for (const [key, base64] of Object.entries(clips)) this.sounds.set(key, await decoded(base64));
      this.say("");
    }

    applyPlayers() {
      if (!this.mix.byPlayer) this.mix.addPlayers(this.sounds);
      this.mix.hearPlayers((name) => this.heard(name));
    }

    async changePlayers() {
      const mix = this.mix;
      if (!mix) return;
      try {
        await this.loadPlayers();
      } catch {
        this.say("The players’ clips could not be opened. Is the folder “page” still whole?");
        return;
      }
      if (this.mix === mix) this.applyPlayers();
    }

    #showPlayers(details) {
      const box = one(details, ".players");
      if (box.childElementCount) return;
      const tick = (set, name, words) =>
        make("label", {}, make("input", {
          type: "checkbox",
          "aria-label": `${name}: ${words}`,
          onchange: (event) => {
            if (event.target.checked) set.add(name);
            else set.delete(name);
            this.changePlayers();
          },
        }), ` ${words}`);
      const rows = this.players.map((name) =>
        make("li", {}, make("span", {}, name), tick(this.silent, name, "silent"), tick(this.alone, name, "alone")));
      box.append(make("ul", {}, ...rows));
    }
  }

  // ---- the page as a whole --------------------------------------------------------------------------------------

  const inView = () => {
    const list = [...passages.values()];
    const middle = innerHeight / 2;
    return list.findLast((passage) => passage.section.getBoundingClientRect().top < middle) ?? list[0];
  };

  const current = () => {
    const around = document.activeElement?.closest?.(".passage");
    return sounding ?? passages.get(around?.id) ?? inView();
  };

  const move = (steps) => {
    const list = [...passages.values()];
    const next = list[list.indexOf(current()) + steps];
    if (!next) return;
    const wasSounding = sounding;
    sounding?.stop();
    const head = one(next.section, "h2");
    head.focus({ preventScroll: true });
    next.section.scrollIntoView();
    if (wasSounding) next.play();
  };

  const flip = (box) => {
    box.checked = !box.checked;
    box.dispatchEvent(new Event("change"));
  };

  const KEYS = {
    " ": (passage) => passage.toggle(),
    Escape: () => sounding?.stop(),
    ArrowLeft: (passage) => passage.step(-1),
    ArrowRight: (passage) => passage.step(1),
    n: () => move(1),
    p: () => move(-1),
    r: (passage) => flip(passage.again),
    e: (passage) => {
      const other = passage.weights.find((weight) => !weight.checked);
      other.checked = true;
      other.dispatchEvent(new Event("change"));
    },
  };

  const taken = (target, key) => {
    if (target.matches("input[type=text], input[type=number], select, textarea")) return true;
    if (key === " ") return target.matches("button, summary, a, input:not([type=radio]:checked)");
    return key.startsWith("Arrow") && target.matches("input[type=radio], .table");
  };

  const onKey = (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || !document.getElementById("keys-on").checked) return;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    if (klangprobe.trialUnderWay || taken(event.target, key)) return;
    const passage = current();
    const row = "123456789".indexOf(key);
    if (row >= 0) passage.choose(row);
    else if (KEYS[key]) KEYS[key](passage);
    else return;
    event.preventDefault();
  };

  const beginPrint = () => {
    for (const details of document.querySelectorAll(".steps, .changed, .figures, .drawn")) {
      details.dataset.was = details.open ? "open" : "";
      details.open = true;
    }
  };

  const endPrint = () => {
    for (const details of document.querySelectorAll("details[data-was]")) details.open = details.dataset.was === "open";
  };

  for (const data of JSON.parse(document.getElementById("passages").textContent)) {
    passages.set(data.slug, new Passage(data));
  }
  document.addEventListener("keydown", onKey);
  addEventListener("beforeprint", beginPrint);
  addEventListener("afterprint", endPrint);
  Object.assign(klangprobe, { passages, sounding: () => sounding });
}
