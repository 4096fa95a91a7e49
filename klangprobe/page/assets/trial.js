// Listening without knowing which. Matching: two variants openly, called one and two, and an unknown that is one of
// them. Marking: all variants behind letters, with the open one hidden once more among them and a muffled copy of it.
// What is saved is what `klangprobe blind` saves, so that sessions of many listeners can be judged together.
"use strict";

{
  const klangprobe = globalThis.klangprobe;
  const { make, odds } = klangprobe;
  const FORMAT = { format: "klangprobe listening", version: 1 };
  const LENGTHS = [10, 16, 20, 30];
  const LONGEST_S = 12; // of an excerpt to be marked (ITU-R BS.1534)
  const REFERENCE = "hidden reference";
  const ANCHOR = "anchor";

  const chance = (sides) => {
    const most = Math.floor(256 / sides) * sides;
    let value = most;
    while (value >= most) [value] = crypto.getRandomValues(new Uint8Array(1));
    return value % sides;
  };
  const shuffled = (items) => {
    const rest = [...items];
    const out = [];
    while (rest.length) out.push(...rest.splice(chance(rest.length), 1));
    return out;
  };
  const percent = (share) => `${Math.round(share * 100)} %`;
  const small = (share) => (share < 0.001 ? "less than 0.1 %" : `${Number((share * 100).toPrecision(2))} %`);
  const button = (words, onclick, attributes = {}) => make("button", { type: "button", onclick, ...attributes }, words);

  const outlook = (of) => {
    const needed = odds.needed(of);
    return `${needed} right of ${of} would be more than luck (less than one chance in twenty). ` +
      `Someone who truly hears a difference three times in four would still fall short ${percent(1 - odds.power(of))} of the time.`;
  };

  const save = (data, name) => {
    const file = new Blob([JSON.stringify(data, null, 1)], { type: "application/json" });
    const link = make("a", { href: URL.createObjectURL(file), download: name });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  };

  /** What both kinds share: the choice beforehand, taking over the passage, giving it back. */
  class Sitting {
    constructor(passage, box) {
      this.passage = passage;
      this.box = box;
      this.names = passage.data.variants.map((variant) => variant.name);
      this.offer();
    }

    id(name) {
      return `${this.passage.data.slug}-${this.kind}-${name}`;
    }

    field(name) {
      return document.getElementById(this.id(name));
    }

    pick(name, label, options, chosen) {
      const rows = options.map(([value, words]) => make("option", { value, selected: value === chosen }, String(words)));
      return make("span", {}, make("label", { for: this.id(name) }, label), " ", make("select", { id: this.id(name) }, ...rows));
    }

    write(name, label, value) {
      const input = make("input", { type: "text", id: this.id(name), value, maxlength: 120, autocomplete: "off" });
      return make("span", {}, make("label", { for: this.id(name) }, label), " ", input);
    }

    get variants() {
      return this.names.map((words, row) => [row, words]);
    }

    async take(set) {
      this.listener = this.field("listener").value.trim() || "listener";
      this.passage.stop();
      this.passage.section.classList.add("in-trial");
      this.box.classList.add("at-work");
      this.passage.set = { weight: "equal", again: true, ...set };
      klangprobe.trialUnderWay = this;
    }

    give() {
      this.passage.stop();
      this.passage.set = null;
      this.passage.section.classList.remove("in-trial");
      this.box.classList.remove("at-work");
      klangprobe.trialUnderWay = null;
    }

    leave() {
      this.give();
      this.offer();
      this.box.querySelector("select").focus();
    }

    /** Go over to a line, or begin again where the sound was stopped. */
    go(row) {
      this.passage.set.chosen = row;
      if (this.passage.mix) this.passage.mix.choose(row);
      else if (klangprobe.sounding() !== this.passage) this.passage.play(0);
    }
  }

  // ---- matching -------------------------------------------------------------------------------------------------

  class Matching extends Sitting {
    get kind() {
      return "match";
    }

    offer() {
      this.hint = make("p", { class: "small" }, outlook(LENGTHS[0]));
      this.box.replaceChildren(
        make("p", {}, "Can you tell two of them apart when nobody says which is which? You hear one, two and an unknown that is one of the two."),
        make("p", { class: "choices" },
          this.pick("first", "This one", this.variants, 0), this.pick("second", "and this one", this.variants, 1),
          this.pick("many", "how often", LENGTHS.map((count) => [count, `${count} times`]), LENGTHS[0]),
          this.write("listener", "your name, for the file", "")),
        this.hint,
        make("p", {}, button("Begin", () => this.begin())),
      );
      this.field("many").onchange = () => (this.hint.textContent = outlook(Number(this.field("many").value)));
    }

    async begin() {
      this.pair = ["first", "second"].map((name) => Number(this.field(name).value));
      if (this.pair[0] === this.pair[1]) {
        this.hint.textContent = "Choose two different variants.";
        return;
      }
      this.count = Number(this.field("many").value);
      this.answers = [];
      await this.take({ chosen: this.pair[0] });
      this.next();
    }

    next() {
      this.rows = chance(2) ? this.pair : [...this.pair].reverse(); // which is called one is drawn anew every time
      this.unknown = chance(2);
      this.since = performance.now();
      this.hears = ["one", "two", "the unknown"].map((words, side) =>
        button(words, () => this.hear(side), { "aria-pressed": "false" }));
      this.box.replaceChildren(
        make("p", { role: "status" }, `${this.answers.length + 1} of ${this.count}. Listen as long as you like.`),
        make("p", { class: "letters" }, make("span", {}, "Hear"), ...this.hears),
        make("p", { class: "letters" }, make("span", {}, "The unknown is"),
          button("one", () => this.answer(0)), button("two", () => this.answer(1)),
          button("leave off", () => this.leave(), { class: "quiet" })),
        make("p", { class: "small" }, "Keys: 1, 2 and 0 to hear one, two and the unknown; ← it is one, → it is two."),
      );
      this.hear(0);
      this.hears[0].focus();
    }

    hear(side) {
      this.go(this.rows[side === 2 ? this.unknown : side]);
      this.hears.forEach((element, row) => element.setAttribute("aria-pressed", String(row === side)));
    }

    answer(side) {
      this.answers.push({
        trial: this.answers.length + 1,
        passage: this.passage.data.name,
        first: this.names[this.rows[0]],
        second: this.names[this.rows[1]],
        hidden: this.names[this.rows[this.unknown]],
        answer: this.names[this.rows[side]],
        seconds: Math.round((performance.now() - this.since) / 100) / 10,
      });
      if (this.answers.length < this.count) this.next();
      else this.result();
    }

    key(key) {
      const acts = {
        1: () => this.hear(0), 2: () => this.hear(1), 0: () => this.hear(2),
        ArrowLeft: () => this.answer(0), ArrowRight: () => this.answer(1), Escape: () => this.leave(),
      };
      acts[key]?.();
      return key in acts;
    }

    result() {
      this.give();
      const right = this.answers.filter((item) => item.hidden === item.answer).length;
      const luck = odds.atLeast(right, this.count);
      const [low, high] = odds.interval(right, this.count);
      const verdict = luck <= 0.05
        ? "That is hard to explain by luck: you heard a difference."
        : "That can well be luck. It does not show that the two sound alike.";
      const words = make("p", { role: "status", tabindex: "-1" },
        `${right} of ${this.count} right. Someone who only guesses does at least as well ${small(luck)} of the time. ${verdict} ` +
        `Your share of right answers lies between ${percent(low)} and ${percent(high)} (95 % interval).`);
      const data = { ...FORMAT, kind: "matching", listener: this.listener, planned: this.count, answers: this.answers };
      this.box.replaceChildren(words, make("p", {},
        button("Keep the results", () => save(data, `matching-${this.passage.data.slug}.json`)),
        button("once more", () => this.offer(), { class: "quiet" })));
      words.focus();
    }
  }

  // ---- marking --------------------------------------------------------------------------------------------------

  class Marking extends Sitting {
    get kind() {
      return "mark";
    }

    offer() {
      const bars = this.passage.data.bars.map(([label], row) => [row, label]);
      this.hint = make("p", { class: "small" },
        `A stretch of at most ${LONGEST_S} s is repeated. One of the letters is the open one itself and should get the full mark; one is muffled on purpose.`);
      this.box.replaceChildren(
        make("p", {}, "Mark all of them from 0 to 100 without knowing which is which, with one of them open to compare with."),
        make("p", { class: "choices" },
          this.write("question", "The question", "How well does the melody come through?"),
          this.pick("open", "open to compare with", this.variants, 0),
          ...(bars.length > 1 ? [this.pick("from", "from bar", bars, 0)] : []),
          this.write("listener", "your name, for the file", "")),
        this.hint,
        make("p", {}, button("Begin", () => this.begin())),
      );
    }

    /** From the bar chosen to the last bar line within twelve seconds. */
    stretch() {
      const { bars, duration } = this.passage.data;
      const from = bars[Number(this.field("from")?.value ?? 0)]?.[1] ?? 0;
      const lines = [...bars.map(([, start]) => start), duration].filter((end) => end > from);
      const fitting = lines.filter((end) => end - from <= LONGEST_S);
      return [from, fitting.length ? fitting[fitting.length - 1] : Math.min(duration, from + LONGEST_S)];
    }

    async begin() {
      this.question = this.field("question").value.trim();
      if (!this.question) {
        this.hint.textContent = "Write down what is to be marked.";
        return;
      }
      const open = Number(this.field("open").value);
      const [from, to] = this.stretch();
      const buffers = await this.passage.load();
      const cut = (buffer) => klangprobe.excerpt(klangprobe.audio(), buffer, from, to);
      const line = (row, buffer) => ({ ...this.passage.data.variants[row], players: [], buffer });
      const hidden = this.names.map((name, row) => [name, row, buffers[row]]).filter(([, row]) => row !== open);
      hidden.push([REFERENCE, open, buffers[open]], [ANCHOR, open, await klangprobe.muffled(buffers[open])]);
      this.behind = shuffled(hidden);
      const lines = [line(open, cut(buffers[open])), ...this.behind.map(([, row, buffer]) => line(row, cut(buffer)))];
      await this.take({ chosen: 0, lines, from, apart: true });
      this.show();
    }

    show() {
      const letters = this.behind.map((_, row) => "ABCDEFGHIJKL"[row]);
      this.hears = ["the open one", ...letters].map((words, row) =>
        button(words, () => this.hear(row), { "aria-pressed": "false" }));
      this.marks = letters.map((letter, row) =>
        make("input", { type: "range", min: 0, max: 100, value: 50, "aria-label": `Mark for ${letter}`, onchange: () => this.marked(row) }));
      this.given = new Set();
      const rows = letters.map((_, row) => make("li", {}, this.hears[row + 1], this.marks[row], make("output", {}, "–")));
      this.done = button("Done", () => this.result(), { disabled: true });
      this.box.replaceChildren(
        make("p", { role: "status" }, this.question),
        make("p", {}, this.hears[0]),
        make("ul", { class: "marks" }, ...rows),
        make("p", { class: "letters" }, this.done, button("leave off", () => this.leave(), { class: "quiet" })),
        make("p", { class: "small" }, "0: not at all. 100: as well as can be. Keys: 0 the open one, 1 the first letter, 2 the second …"),
      );
      for (const [row, mark] of this.marks.entries()) mark.oninput = () => this.marked(row);
      this.hear(0);
      this.hears[0].focus();
    }

    hear(row) {
      this.go(row);
      this.hears.forEach((element, other) => element.setAttribute("aria-pressed", String(other === row)));
    }

    marked(row) {
      this.given.add(row);
      this.marks[row].nextElementSibling.textContent = this.marks[row].value;
      this.done.disabled = this.given.size < this.marks.length;
    }

    key(key) {
      if (key === "Escape") this.leave();
      else if (/^\d$/.test(key) && this.hears[Number(key)]) this.hear(Number(key));
      else return false;
      return true;
    }

    result() {
      const ratings = this.behind.map(([variant], row) =>
        ({ passage: this.passage.data.name, variant, mark: Number(this.marks[row].value) }));
      this.give();
      const told = [...ratings].sort((a, b) => b.mark - a.mark).map(({ variant, mark }) => make("li", {}, `${variant}: ${mark}`));
      const found = ratings.find(({ variant }) => variant === REFERENCE).mark >= 90;
      const words = make("p", { role: "status", tabindex: "-1" }, found
        ? "You gave the hidden copy of the open one its full mark. One listener’s marks are that listener’s taste: gather several."
        : "You marked the hidden copy of the open one below 90. In a group these marks would be left out (after ITU-R BS.1534).");
      const data = { ...FORMAT, kind: "rating", listener: this.listener, question: this.question, ratings };
      this.box.replaceChildren(words, make("ol", {}, ...told), make("p", {},
        button("Keep the results", () => save(data, `marks-${this.passage.data.slug}.json`)),
        button("once more", () => this.offer(), { class: "quiet" })));
      words.focus();
    }
  }

  klangprobe.trials = [];
  for (const passage of klangprobe.passages.values()) {
    for (const [selector, Kind] of [[".matching", Matching], [".marking", Marking]]) {
      const box = passage.section.querySelector(selector);
      if (box) klangprobe.trials.push(new Kind(passage, box));
    }
  }
  document.addEventListener("keydown", (event) => {
    const plain = !(event.ctrlKey || event.altKey || event.metaKey) && document.getElementById("keys-on").checked;
    const ranged = event.target.matches?.("input[type=range]") && event.key.startsWith("Arrow");
    if (plain && !ranged && klangprobe.trialUnderWay?.key(event.key)) event.preventDefault();
  });
}
