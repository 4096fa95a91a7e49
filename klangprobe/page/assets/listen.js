// The sound of one passage: every variant runs from the first sample to the last, all started together; going over
// from one to another only moves gains, in 5 ms, so the place never changes and nothing clicks.
//
//   clip ──► take (1: the whole, 0: by player) ─┐
//   player ─► part (0 or its gain) ─────────────┴► heard (0 or 1) ─► level ─► out
//
// It takes any BaseAudioContext, so the same graph runs in real time and in an OfflineAudioContext.
"use strict";

const klangprobe = (globalThis.klangprobe ??= {});

klangprobe.FADE_S = 0.005;

/** A gain that moves in straight lines and always knows where it is, so that a move can begin inside another. */
klangprobe.Fader = class {
  constructor(context, value) {
    this.node = context.createGain();
    this.node.gain.value = value;
    this.from = value;
    this.to = value;
    this.begin = -1;
    this.end = -1;
  }

  /** Value at a time. */
  at(time) {
    if (time >= this.end) return this.to;
    if (time <= this.begin) return this.from;
    return this.from + ((this.to - this.from) * (time - this.begin)) / (this.end - this.begin);
  }

  /** Move to a value within one fade from a time on. */
  move(value, time) {
    if (value === this.to) return;
    const gain = this.node.gain;
    const now = this.at(time);
    const midway = this.begin < time && time < this.end;
    gain.cancelScheduledValues(time); // takes away the whole line under way, so its first part is drawn again
    if (midway) gain.linearRampToValueAtTime(now, time);
    else gain.setValueAtTime(now, time);
    gain.linearRampToValueAtTime(value, time + klangprobe.FADE_S);
    [this.from, this.to, this.begin, this.end] = [now, value, time, time + klangprobe.FADE_S];
  }
};

klangprobe.Mix = class {
  /**
   * @param {BaseAudioContext} context
   * @param {{buffer: AudioBuffer, equal: number, scored: number, players: [string, string, number][]}[]} variants
   *   gains are linear; a player is its name, the key of its sound, and the gain it has in this variant
   * @param {{chosen?: number, weight?: string, again?: boolean, apart?: boolean}} state
   *   apart: one clip is gone before the next one comes (the switching rule of ITU-R BS.1534), for marking
   */
  constructor(context, variants, state = {}) {
    this.context = context;
    this.weight = state.weight ?? "equal";
    this.chosen = state.chosen ?? 0;
    this.again = state.again ?? false;
    this.apart = state.apart ?? false;
    this.duration = variants[0].buffer.duration;
    this.out = new klangprobe.Fader(context, 0);
    this.out.node.connect(context.destination);
    this.sources = [];
    this.onended = null;
    this.byPlayer = false;
    this.lines = variants.map((variant, row) => this.#line(variant, row));
  }

  #line(variant, row) {
    const line = {
      variant,
      whole: new klangprobe.Fader(this.context, 1),
      heard: new klangprobe.Fader(this.context, row === this.chosen ? 1 : 0),
      level: new klangprobe.Fader(this.context, variant[this.weight]),
      parts: new Map(),
    };
    line.whole.node.connect(line.heard.node);
    line.heard.node.connect(line.level.node);
    line.level.node.connect(this.out.node);
    return line;
  }

  /** The next sample at or after a time (now and a little, where none is given). */
  tick(time) {
    const rate = this.context.sampleRate;
    const soon = this.context.currentTime + 0.012 + (this.context.baseLatency ?? 0);
    return Math.ceil((time ?? soon) * rate - 1e-6) / rate;
  }

  /** Start every clip at one sample; *offset* is seconds into the passage. */
  start(offset = 0, time = undefined) {
    const when = this.tick(time);
    this.begun = when;
    this.zero = when - this.#whole(offset);
    for (const line of this.lines) this.#play(line.variant.buffer, line.whole.node, when);
    const last = this.sources[this.sources.length - 1];
    last.onended = () => this.onended?.();
    this.out.move(1, when);
  }

  #whole(seconds) {
    return Math.round(seconds * this.context.sampleRate) / this.context.sampleRate;
  }

  #play(buffer, node, when) {
    const source = this.context.createBufferSource();
    source.buffer = buffer;
    source.loop = this.again;
    source.loopEnd = this.duration; // of the clips: a player's sound, at a sample rate of its own, may be a sample longer
    source.connect(node);
    source.start(when, this.#whole(this.place(when)));
    this.sources.push(source);
    return source;
  }

  /** Seconds run since the first sample, at a time; until the first sound is out, those of the place to begin at. */
  #run(time = this.context.currentTime) {
    return Math.max(time, this.begun) - this.zero;
  }

  /** Seconds into the passage at a time. */
  place(time = undefined) {
    const run = this.#run(time);
    return this.again ? run % this.duration : Math.min(run, this.duration);
  }

  /** Go over to another variant. */
  choose(row, time = undefined) {
    const when = this.tick(time);
    const come = this.apart && row !== this.chosen ? when + klangprobe.FADE_S : when;
    this.chosen = row;
    this.lines.forEach((line, other) => line.heard.move(other === row ? 1 : 0, other === row ? come : when));
  }

  /** "equal": all made equally loud; "scored": as loud as they are scored. */
  weigh(weight, time = undefined) {
    const when = this.tick(time);
    this.weight = weight;
    for (const line of this.lines) line.level.move(line.variant[weight], when);
  }

  /** Again and again, or to the end. */
  repeat(again) {
    if (this.again && !again) this.zero += Math.floor(this.#run() / this.duration) * this.duration;
    this.again = again;
    for (const source of this.sources) source.loop = again;
  }

  /** Add the players' own sounds (key → AudioBuffer); they start silent, at the place the whole has reached. */
  addPlayers(sounds, time = undefined) {
    const when = this.tick(time);
    const nodes = new Map();
    for (const [key, buffer] of sounds) {
      const node = this.context.createGain();
      nodes.set(key, node);
      this.#play(buffer, node, when);
    }
    for (const line of this.lines) {
      for (const [name, key, gain] of line.variant.players) {
        if (!nodes.has(key)) continue;
        const part = new klangprobe.Fader(this.context, 0);
        nodes.get(key).connect(part.node);
        part.node.connect(line.heard.node);
        line.parts.set(name, { part, gain });
      }
    }
    this.byPlayer = true;
  }

  /** Let only the players be heard for which *sounds(name)* holds; all of them is the whole itself. */
  hearPlayers(sounds, time = undefined) {
    const when = this.tick(time);
    for (const line of this.lines) {
      const all = [...line.parts.keys()].every(sounds);
      line.whole.move(all ? 1 : 0, when);
      for (const [name, { part, gain }] of line.parts) part.move(!all && sounds(name) ? gain : 0, when);
    }
  }

  /** Fade out and end. */
  stop(time = undefined) {
    const when = this.tick(time);
    this.out.move(0, when);
    for (const source of this.sources) {
      source.onended = null;
      source.stop(when + klangprobe.FADE_S);
    }
    this.sources = [];
  }
};

/** A stretch of a clip as a clip of its own, faded at both ends so that it can be repeated without a click. */
klangprobe.excerpt = (context, buffer, from, to) => {
  const rate = buffer.sampleRate;
  const first = Math.round(from * rate);
  const length = Math.max(1, Math.min(buffer.length, Math.round(to * rate)) - first);
  const fade = Math.min(Math.round(klangprobe.FADE_S * rate), Math.floor(length / 2));
  const cut = context.createBuffer(buffer.numberOfChannels, length, rate);
  for (let channel = 0; channel < buffer.numberOfChannels; channel += 1) {
    const samples = buffer.getChannelData(channel).slice(first, first + length);
    for (let row = 0; row < fade; row += 1) {
      samples[row] *= row / fade;
      samples[length - 1 - row] *= row / fade;
    }
    cut.copyToChannel(samples, channel);
  }
  return cut;
};

/** A clip without anything above 3.5 kHz (the low anchor of ITU-R BS.1534): windowed sinc, same length, no delay. */
klangprobe.muffled = async (buffer) => {
  const rate = buffer.sampleRate;
  const half = Math.round(rate / 120);
  const cut = 3750 / rate;
  const line = new Float32Array(2 * half + 1);
  let sum = 0;
  for (let row = -half; row <= half; row += 1) {
    const sinc = row === 0 ? 2 * cut : Math.sin(2 * Math.PI * cut * row) / (Math.PI * row);
    const turn = (Math.PI * row) / half;
    const blackman = 0.42 + 0.5 * Math.cos(turn) + 0.08 * Math.cos(2 * turn);
    line[row + half] = sinc * blackman;
    sum += line[row + half];
  }
  const context = new OfflineAudioContext(buffer.numberOfChannels, buffer.length + half, rate);
  const response = context.createBuffer(1, line.length, rate);
  response.copyToChannel(line.map((value) => value / sum), 0);
  const filter = new ConvolverNode(context, { buffer: response, disableNormalization: true });
  const source = new AudioBufferSourceNode(context, { buffer });
  source.connect(filter).connect(context.destination);
  source.start();
  const late = await context.startRendering();
  const out = context.createBuffer(buffer.numberOfChannels, buffer.length, rate);
  for (let channel = 0; channel < buffer.numberOfChannels; channel += 1) {
    out.copyToChannel(late.getChannelData(channel).subarray(half), channel);
  }
  return out;
};
