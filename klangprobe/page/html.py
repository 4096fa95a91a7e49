"""The words and the order of the page. Everything that comes from a score or a spec passes through :func:`text`."""

from __future__ import annotations

import json
from html import escape
from typing import TYPE_CHECKING

from klangprobe.page.model import page_slugs

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from klangprobe.page.model import Difference, Figure, PageInfo, PassagePage, Picture, VariantPage

_UNITS = (
    ("dB", "decibel: 1 dB is about the least one hears between two sounds in turn; 10 dB more is about twice as loud"),
    (
        "LU, LUFS",
        "decibels of loudness as broadcasters measure it, weighted for the ear; LUFS counts down from full scale",
    ),
    ("Cam", "one step on the ear’s own scale of pitch, bass to treble in 39: a minor third at A4, six semitones at A2"),
    ("–", "not defined in these bars, or not for the piano"),
)

__all__ = ["SAFE_LISTENING", "YOUR_DUTY", "body", "data_json", "text"]

SAFE_LISTENING = (
    "Set the level on the first clip and keep it moderate: above about 80 dB(A) for 40 hours a week, or much less time "
    "when louder, hearing is at risk (WHO–ITU H.870). On headphones, let it be quiet enough to hear someone speak."
)
YOUR_DUTY = (
    "An arrangement of a protected work needs the leave of whoever holds its rights (Berne Convention, article 12). "
    "Clearing them before it is performed, copied or shared is the arranger’s task; this page does not do it."
)
_KEYS = (
    ("Space", "listen, stop"),
    ("1 … 9", "go over to that variant, at the same place"),
    ("← →", "a bar back, a bar on"),
    ("P, N", "passage before, passage after"),
    ("R", "again and again, or once"),
    ("E", "made equally loud, or as scored"),
    ("Escape", "stop"),
)


def text(value: str) -> str:
    """Return *value* safe for element content and quoted attributes."""
    return escape(value, quote=True)


def data_json(passages: Sequence[PassagePage]) -> str:
    """Return what the scripts need to know, as JSON that is safe inside a script element."""
    names = page_slugs(passages)
    data = [_passage_data(passage, name) for passage, name in zip(passages, names, strict=True)]
    return json.dumps(data, ensure_ascii=True, separators=(",", ":")).replace("<", "\\u003c")


def _passage_data(passage: PassagePage, name: str) -> dict[str, object]:
    """One passage for the scripts: names of clips, gains, times."""
    return {
        "slug": name,
        "name": passage.name,
        "duration": passage.duration_s,
        "bars": [[label, round(start, 6)] for label, start in passage.bars.bars],
        "moments": [round(moment, 6) for moment in passage.bars.moments_s],
        "players": list(passage.players) or _named(passage),
        "variants": [
            {
                "name": variant.name,
                "equal": variant.gain_matched,
                "scored": variant.gain_scored,
                "players": [[stem.name, stem.key, stem.gain] for stem in variant.stems],
            }
            for variant in passage.variants
        ],
    }


def _named(passage: PassagePage) -> list[str]:
    """Players in the order the variants name them."""
    return list(dict.fromkeys(stem.name for variant in passage.variants for stem in variant.stems))


def body(info: PageInfo, passages: Sequence[PassagePage], picture: Callable[[str, int], str]) -> str:
    """Return the content of the body element.

    Parameters
    ----------
    info, passages
        What to show.
    picture : callable
        Name of a passage and number of a picture (from 1) to its address.
    """
    names = page_slugs(passages)
    parts = [
        _head(info, passages, names),
        "<main>",
        *(_passage(passage, name, picture) for passage, name in zip(passages, names, strict=True)),
        "</main>",
        _meanings(passages),
        _foot(info),
    ]
    return "\n".join(parts)


def _head(info: PageInfo, passages: Sequence[PassagePage], names: Sequence[str]) -> str:
    """Title, contents, keys, care."""
    by = " · ".join(
        part for part in (info.composer, f"orchestrated by {info.arranger}" if info.arranger else "") if part
    )
    rows = "".join(
        f'<li><a href="#{name}">{text(passage.name)}</a> <span>{text(passage.where)}</span></li>'
        for passage, name in zip(passages, names, strict=True)
    )
    keys = "".join(f"<div><dt><kbd>{text(key)}</kbd></dt><dd>{text(does)}</dd></div>" for key, does in _KEYS)
    return f"""<header class="title">
<h1>{text(info.title)}</h1>
{f'<p class="by">{text(by)}</p>' if by else ""}
<nav aria-label="Passages"><ol class="contents">{rows}</ol></nav>
{_paragraphs(info.notes, "remark")}
<p class="care screen">{text(SAFE_LISTENING)}</p>
<details class="keys screen"><summary>By keyboard</summary>
<dl>{keys}</dl>
<label><input type="checkbox" id="keys-on" checked> let these keys work on this page</label>
</details>
<noscript><p class="remark">Without scripts this page is for reading; the clips lie beside it.</p></noscript>
</header>"""


def _passage(passage: PassagePage, name: str, picture: Callable[[str, int], str]) -> str:
    """Lay out one passage: questions, bars, listening, variants, then the evidence."""
    answers = "".join(f'<p class="answer"><span>Decided:</span> {text(answer)}</p>' for answer in passage.answers)
    return f"""<section class="passage" id="{name}" aria-labelledby="{name}-head">
<p class="where">{text(passage.where)}</p>
<h2 id="{name}-head" tabindex="-1">{text(passage.name)}</h2>
{_paragraphs(passage.questions, "question")}
{answers}
{_bars(passage)}
{_listen(name)}
{_variants(passage, name)}
{_paragraphs(passage.notes, "remark")}
<p class="lines paper">What I hear: <span></span><span></span><span></span></p>
{_evidence(passage, name, picture)}
</section>"""


def _bars(passage: PassagePage) -> str:
    """Draw the bars in two widths; the page shows the one that fits."""
    if not passage.bars.wide:
        return '<p class="remark">The bars of this source cannot be drawn here.</p>'
    narrow = passage.bars.narrow or passage.bars.wide
    return f"""<figure class="bars"><div class="wide">{passage.bars.wide}</div><div class="narrow">{narrow}</div>
<figcaption class="unseen">The piano’s {text(passage.where)}. Choose a bar with the arrow keys.</figcaption></figure>"""


def _listen(name: str) -> str:
    """Offer the one way to listen: a button, where it is, once or again, how loud."""
    return f"""<div class="listen screen">
<button type="button" class="play">Listen</button>
<output class="at" aria-label="Place" aria-live="off"></output>
<label class="again"><input type="checkbox"> again and again</label>
<fieldset class="weight"><legend class="unseen">Loudness</legend>
<label><input type="radio" name="{name}-weight" value="equal" checked> made equally loud</label>
<label><input type="radio" name="{name}-weight" value="scored"> as loud as scored</label></fieldset>
<p class="state" role="status"></p>
</div>"""


def _variants(passage: PassagePage, name: str) -> str:
    """Name the variants by what they do; choosing one goes over to it at once."""
    rows = "".join(_variant(variant, name, row) for row, variant in enumerate(passage.variants))
    ways = _count(sum(not variant.reference for variant in passage.variants))
    beside = ", beside the piano" if any(variant.reference for variant in passage.variants) else ""
    return f'<fieldset class="variants"><legend>Scored in {ways}{beside}</legend>{rows}</fieldset>'


def _count(number: int) -> str:
    """Return the number of ways in words, as a book would have it."""
    words = ("no way", "one way", "two ways", "three ways", "four ways", "five ways", "six ways")
    return words[number] if number < len(words) else f"{number} ways"


def _variant(variant: VariantPage, name: str, row: int) -> str:
    """One variant: choice, name, sentence, steps."""
    steps = "".join(f"<li>{text(step)}</li>" for step in variant.steps)
    mark = ' <span class="chosen">decided</span>' if variant.chosen else ""
    return f"""<div class="variant"><input type="radio" name="{name}-variant" id="{name}-v{row}" value="{row}"
 aria-describedby="{name}-s{row}"{" checked" if row == 0 else ""}>
<label for="{name}-v{row}">{text(variant.name)}{mark}</label>
<p class="says" id="{name}-s{row}">{text(variant.says)}</p>
{f'<details class="steps"><summary>how</summary><ol>{steps}</ol></details>' if steps else ""}</div>"""


def _evidence(passage: PassagePage, name: str, picture: Callable[[str, int], str]) -> str:
    """Put below what is there for who wants it."""
    parts = []
    if passage.differences:
        parts.append(_fold("What changed", _differences(passage), "changed"))
    if passage.figures:
        parts.append(_fold("In figures", _figures(passage), "figures"))
    if passage.pictures:
        drawn = (_picture(one, picture(name, row)) for row, one in enumerate(passage.pictures, 1))
        parts.append(_fold("In pictures", "".join(drawn), "drawn"))
    if any(variant.stems for variant in passage.variants):
        parts.append(_fold("Player by player", '<div class="players"></div>', "by-player screen"))
    if len(passage.variants) > 1:
        inside = '<h3>Matching</h3><div class="matching"></div><h3>Marking</h3><div class="marking"></div>'
        parts.append(_fold("Without knowing which", inside, "blind screen"))
    return f'<div class="evidence">{"".join(parts)}</div>' if parts else ""


def _differences(passage: PassagePage) -> str:
    """Set every variant beside the first, the other pairs in a fold of their own."""
    pairs = [_difference(difference) for difference in passage.differences]
    count = sum(not variant.reference for variant in passage.variants) - 1
    return "".join(pairs[:count]) + (
        _fold("the others among themselves", "".join(pairs[count:])) if pairs[count:] else ""
    )


def _difference(difference: Difference) -> str:
    """One pair: what matters most, the rest when asked."""
    count = f"{len(difference.more)} smaller difference{'s' if len(difference.more) > 1 else ''}"
    more = _fold(count, _list(difference.more)) if difference.more else ""
    return f"<h3>{text(difference.title)}</h3>{_list(difference.lines)}{more}"


def _fold(title: str, inside: str, kind: str = "more") -> str:
    """Wrap a part that opens when asked."""
    return f'<details class="{kind}"><summary>{text(title)}</summary>{inside}</details>'


def _figures(passage: PassagePage) -> str:
    """Set the measures that tell the variants apart as a table, the others in a fold."""
    moved = [figure for figure in passage.figures if figure.differs]
    alike = [figure for figure in passage.figures if not figure.differs]
    table = _table(passage, moved, "Figures") if moved else "<p>No figure differs by more than one would notice.</p>"
    rest = _fold("alike in all of them", _table(passage, alike, "Figures that do not differ")) if alike else ""
    return table + rest


def _table(passage: PassagePage, figures: Sequence[Figure], label: str) -> str:
    """One table, one row for each measure."""
    heads = "".join(f'<th scope="col">{text(variant.name)}</th>' for variant in passage.variants)
    rows = "".join(_figure(figure) for figure in figures)
    return f"""<div class="table" tabindex="0" role="region" aria-label="{label}, {text(passage.name)}"><table><thead>
<tr><th scope="col">Measure</th>{heads}</tr></thead><tbody>{rows}</tbody></table></div>"""


def _figure(figure: Figure) -> str:
    """One measure."""
    values = "".join(f"<td>{text(value)}</td>" for value in figure.values)
    meaning = f'<br><span class="meaning">{text(figure.meaning)}</span>' if figure.meaning else ""
    return f'<tr><th scope="row">{text(figure.title)}{meaning}</th>{values}</tr>'


def _picture(picture: Picture, address: str) -> str:
    """Show a plot with its title, its description read out in its place."""
    return f"""<figure class="picture"><figcaption>{text(picture.title)}</figcaption>
<img src="{text(address)}" alt="{text(picture.description)}" decoding="async"></figure>"""


def _list(lines: Sequence[str]) -> str:
    """Sentences as a list."""
    return f"<ul>{''.join(f'<li>{text(line)}</li>' for line in lines)}</ul>" if lines else ""


def _paragraphs(lines: Sequence[str], kind: str) -> str:
    """Sentences as paragraphs."""
    return "".join(f'<p class="{kind}">{text(line)}</p>' for line in lines)


def _meanings(passages: Sequence[PassagePage]) -> str:
    """Explain every measure once."""
    known = {figure.title: figure.definition for passage in passages for figure in passage.figures if figure.definition}
    words = [*_UNITS, *known.items()] if known else []
    rows = "".join(f"<div><dt>{text(title)}</dt><dd>{text(meaning)}</dd></div>" for title, meaning in words)
    inside = f'<details class="more"><summary>What the figures mean</summary><dl>{rows}</dl></details>'
    return f'<section class="meanings" aria-label="What the figures mean">{inside}</section>' if rows else ""


def _foot(info: PageInfo) -> str:
    """Sound, licences, duties."""
    sound = "" if not info.soundfont or info.soundfont in info.attribution else f"Sound: {info.soundfont}."
    lines = [sound, info.attribution, YOUR_DUTY, info.made_with]
    return f"<footer>{_paragraphs([line for line in lines if line], 'small')}</footer>"
