"""The synths that come with Klangprobe: FluidSynth with a soundfont, and plain partials by formula."""
