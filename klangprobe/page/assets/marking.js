// Marking: everything behind letters, marks from 0 to 100, after ideas of ITU-R BS.1534 and BS.1116.
"use strict";

{
  const klangprobe = globalThis.klangprobe;
  const { make } = klangprobe;
  const { FORMAT, button, save, shuffled } = klangprobe.sitting;
  const LONGEST_S = 12; // of an excerpt to be marked (ITU-R BS.1534)
  const REFERENCE = "hidden reference";
  const ANCHOR = "anchor";

  class Marking extends klangprobe.Sitting {
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

  for (const passage of klangprobe.passages.values()) {
    const box = passage.section.querySelector(".marking");
    if (box) new Marking(passage, box);
  }
}
