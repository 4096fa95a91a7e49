// Listening without knowing which. Matching: two variants openly, called one and two, and an unknown that is one of
// them. Marking: all variants behind letters, with the open one hidden once more among them and a muffled copy of it.
// What is saved is what `klangprobe blind` saves, so that sessions of many listeners can be judged together.
"use strict";

{
  const klangprobe = globalThis.klangprobe;
  const { make } = klangprobe;
  const FORMAT = { format: "klangprobe listening", version: 1 };

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
  const button = (words, onclick, attributes = {}) => make("button", { type: "button", onclick, ...attributes }, words);

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
      const input = make("input", { type: "text", id: this.id(name), value, size: value ? 30 : 16, maxlength: 120, autocomplete: "off" });
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

  klangprobe.Sitting = Sitting;
  klangprobe.sitting = { FORMAT, button, chance, save, shuffled };

  document.addEventListener("keydown", (event) => {
    const plain = !(event.ctrlKey || event.altKey || event.metaKey) && document.getElementById("keys-on").checked;
    const ranged = event.target.matches?.("input[type=range]") && event.key.startsWith("Arrow");
    if (plain && !ranged && klangprobe.trialUnderWay?.key(event.key)) event.preventDefault();
  });
}
