// Finding, loading and unpacking clips, and the few helpers all scripts of the page share.
"use strict";

{
  const klangprobe = globalThis.klangprobe;
  const SAMPLE_RATE_HZ = 48000;
  let context = null;

  const one = (root, selector) => root.querySelector(selector);
  const all = (root, selector) => [...root.querySelectorAll(selector)];
  const make = (tag, attributes = {}, ...inside) => {
    const element = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) {
      if (name === "onclick" || name === "onchange") element[name] = value;
      else if (value !== false) element.setAttribute(name, value === true ? "" : value);
    }
    element.append(...inside);
    return element;
  };

  const audio = () => (context ??= new AudioContext({ sampleRate: SAMPLE_RATE_HZ, latencyHint: "interactive" }));

  // ---- clips: base64 in scripts beside the page, or in data blocks of the page itself --------------------------

  const shelf = new Map();
  klangprobe.keep = (name, clips) => shelf.set(name, clips);

  const fetched = (name) =>
    new Promise((done, failed) => {
      if (shelf.has(name)) return done(shelf.get(name));
      const block = document.getElementById(`clips-${name}`);
      if (block) {
        klangprobe.keep(name, JSON.parse(block.textContent));
        return done(shelf.get(name));
      }
      const script = make("script", { src: `page/clips/${encodeURIComponent(name)}.js` });
      script.onload = () => (shelf.has(name) ? done(shelf.get(name)) : failed(new Error(name)));
      script.onerror = () => failed(new Error(name));
      document.body.append(script);
      return undefined;
    });

  const decoded = async (base64) => {
    const bytes = Uint8Array.from(atob(base64), (letter) => letter.charCodeAt(0));
    return audio().decodeAudioData(bytes.buffer);
  };

  Object.assign(klangprobe, { one, all, make, audio, fetched, decoded });
}
