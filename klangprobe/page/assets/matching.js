// Matching: which of two openly heard variants is the unknown one?
"use strict";

{
  const klangprobe = globalThis.klangprobe;
  const { make, odds } = klangprobe;
  const { FORMAT, button, chance, save } = klangprobe.sitting;
  const LENGTHS = [10, 16, 20, 30];
  const percent = (share) => `${Math.round(share * 100)} %`;
  const small = (share) => (share < 0.001 ? "less than 0.1 %" : `${Number((share * 100).toPrecision(2))} %`);

  const outlook = (of) => {
    const needed = odds.needed(of);
    return `${needed} right of ${of} would be more than luck (less than one chance in twenty). ` +
      `Someone who truly hears a difference three times in four would still fall short ${percent(1 - odds.power(of))} of the time.`;
  };

  class Matching extends klangprobe.Sitting {
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

  for (const passage of klangprobe.passages.values()) {
    const box = passage.section.querySelector(".matching");
    if (box) new Matching(passage, box);
  }
}
