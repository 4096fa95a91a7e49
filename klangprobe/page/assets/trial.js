// Matching trials: A and B are two variants, X is one of them; which one is decided by chance and kept back.
"use strict";

{
  const klangprobe = globalThis.klangprobe;
  const { make, odds } = klangprobe;
  const LENGTHS = [10, 16, 20, 30];

  const coin = () => crypto.getRandomValues(new Uint8Array(1))[0] & 1;
  const percent = (share) => `${Math.round(share * 100)} %`;
  const small = (share) => (share < 0.001 ? "less than 0.1 %" : `${Number((share * 100).toPrecision(2))} %`);

  const promise = (of) => {
    const needed = odds.needed(of);
    if (needed > of) return `${of} trials are too few to show anything.`;
    const missed = 1 - odds.power(of);
    return `${needed} right of ${of} would be more than luck (less than one chance in twenty). ` +
      `Someone who truly hears a difference three times in four would still fall short ${percent(missed)} of the time.`;
  };

  class Trials {
    constructor(passage, box) {
      this.passage = passage;
      this.box = box;
      this.names = passage.data.variants.map((variant) => variant.name);
      this.#offer();
    }

    // ---- before ---------------------------------------------------------------------------------------------------

    #offer() {
      const name = (id) => `${this.passage.data.slug}-${id}`;
      const choice = (id, label, options, chosen) => [
        make("label", { for: name(id) }, label),
        make("select", { id: name(id) }, ...options.map(([value, words]) =>
          make("option", { value, selected: value === chosen }, words))),
      ];
      const variants = this.names.map((words, row) => [row, words]);
      this.outlook = make("p", { class: "small" }, promise(LENGTHS[0]));
      this.box.replaceChildren(
        make("p", {}, "Can you tell two of them apart when nobody says which is which? You hear A, B and X; X is one of the two."),
        make("p", { class: "choices" },
          ...choice("first", "This one", variants, 0),
          ...choice("second", "and this one", variants, 1),
          ...choice("many", "how often", LENGTHS.map((count) => [count, `${count} times`]), LENGTHS[0])),
        this.outlook,
        make("p", {}, make("button", { type: "button", onclick: () => this.#begin() }, "Begin")),
      );
      this.#select("many").onchange = () => (this.outlook.textContent = promise(Number(this.#select("many").value)));
    }

    #select(id) {
      return document.getElementById(`${this.passage.data.slug}-${id}`);
    }

    async #begin() {
      const pair = ["first", "second"].map((id) => Number(this.#select(id).value));
      if (pair[0] === pair[1]) {
        this.outlook.textContent = "Choose two different variants.";
        return;
      }
      this.count = Number(this.#select("many").value);
      this.rows = coin() ? pair : pair.reverse();
      this.done = [];
      this.passage.stop();
      this.passage.section.classList.add("in-trial");
      this.passage.set = { chosen: this.rows[0], weight: "equal", again: true };
      klangprobe.trialUnderWay = this;
      this.#next();
      await this.passage.play(0);
    }

    // ---- during ---------------------------------------------------------------------------------------------------

    #next() {
      this.x = coin();
      this.moves = 0;
      this.since = performance.now();
      const hear = ["A", "B", "X"].map((letter) =>
        make("button", { type: "button", "aria-pressed": "false", onclick: () => this.hear(letter) }, `hear ${letter}`));
      this.buttons = hear;
      this.box.replaceChildren(
        make("p", { role: "status" }, `Trial ${this.done.length + 1} of ${this.count}. Listen as long as you like.`),
        make("p", { class: "letters" }, ...hear),
        make("p", { class: "letters" },
          make("button", { type: "button", onclick: () => this.answer(0) }, "X is A"),
          make("button", { type: "button", onclick: () => this.answer(1) }, "X is B"),
          make("button", { type: "button", class: "quiet", onclick: () => this.#leave() }, "leave off")),
        make("p", { class: "small" }, "Keys: A, B, X to hear; ← says X is A, → says X is B."),
      );
      this.hear("A");
      this.box.querySelector("button").focus();
    }

    /** Go over to A, B or X. */
    hear(letter) {
      const side = { A: 0, B: 1, X: this.x }[letter];
      this.moves += 1;
      this.passage.set.chosen = this.rows[side];
      if (this.passage.mix) this.passage.mix.choose(this.rows[side]);
      else if (this.passage.set && this.moves > 1) this.passage.play(0);
      this.buttons.forEach((button, row) => button.setAttribute("aria-pressed", String("ABX"[row] === letter)));
    }

    answer(side) {
      this.done.push({
        x: this.names[this.rows[this.x]],
        answer: this.names[this.rows[side]],
        moves: this.moves,
        seconds: Math.round((performance.now() - this.since) / 100) / 10,
      });
      if (this.done.length < this.count) this.#next();
      else this.#result();
    }

    key(event) {
      const letter = event.key.toUpperCase();
      if ("ABX".includes(letter) && letter.length === 1) this.hear(letter);
      else if (event.key === "ArrowLeft") this.answer(0);
      else if (event.key === "ArrowRight") this.answer(1);
      else if (event.key === "Escape") this.#leave();
      else return;
      event.preventDefault();
    }

    #end() {
      this.passage.stop();
      this.passage.set = null;
      this.passage.section.classList.remove("in-trial");
      klangprobe.trialUnderWay = null;
    }

    #leave() {
      this.#end();
      this.#offer();
      this.box.querySelector("select").focus();
    }

    // ---- after ----------------------------------------------------------------------------------------------------

    #result() {
      this.#end();
      const right = this.done.filter((trial) => trial.x === trial.answer).length;
      const luck = odds.atLeast(right, this.count);
      const [low, high] = odds.interval(right, this.count);
      const verdict = luck <= 0.05
        ? "That is hard to explain by luck: you heard a difference."
        : "That can well be luck. It does not show that the two sound alike.";
      const words = make("p", { role: "status", tabindex: "-1" },
        `${right} of ${this.count} right. Someone who only guesses does at least as well ${small(luck)} of the time. ${verdict} ` +
        `Your share of right answers lies between ${percent(low)} and ${percent(high)} (95 % interval).`);
      this.box.replaceChildren(words,
        make("p", {},
          make("button", { type: "button", onclick: () => this.#save(right, luck, [low, high]) }, "Keep the results"),
          make("button", { type: "button", class: "quiet", onclick: () => this.#offer() }, "once more")));
      words.focus();
    }

    #save(right, luck, interval) {
      const data = {
        format: "klangprobe matching trials",
        version: 1,
        piece: document.querySelector("h1").textContent,
        passage: this.passage.data.name,
        clips: "matched",
        pair: [...this.rows].sort((a, b) => a - b).map((row) => this.names[row]),
        trials: this.done,
        right,
        of: this.count,
        chance_at_least: luck,
        interval_95: interval,
        power_at_three_in_four: odds.power(this.count),
      };
      const file = new Blob([JSON.stringify(data, null, 2)], { type: "application/json" });
      const link = make("a", { href: URL.createObjectURL(file), download: `trials-${this.passage.data.slug}.json` });
      link.click();
      setTimeout(() => URL.revokeObjectURL(link.href), 1000);
    }
  }

  klangprobe.trials = new Map();
  for (const passage of klangprobe.passages.values()) {
    const box = passage.section.querySelector(".unknown");
    if (box) klangprobe.trials.set(passage.data.slug, new Trials(passage, box));
  }
  document.addEventListener("keydown", (event) => {
    if (klangprobe.trialUnderWay && document.getElementById("keys-on").checked) klangprobe.trialUnderWay.key(event);
  });
}
