"""How the review sheet looks and what it does: nothing is sent, nothing is loaded.

Choices are kept in the browser under the sheet's own rows, so that they survive a reload.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
from collections.abc import Sequence

from papernudge.cli.said import in_words, spoken
from papernudge.hints.catalogue import message

CELL_WORD, WORDS, LABEL = "cell", "words", "label"
"""What may be typed into a field: what stands in its cell, corrections with their cells, a name."""

_STYLE = """
body { font: 16px/1.4 system-ui, sans-serif; margin: 1em; color: #222; background: #fff;
  overflow-wrap: anywhere }
h1 { font-size: 1.4em } h2 { font-size: 1em; margin: 1.2em 0 .4em; break-after: avoid }
code { font-weight: normal; color: #555 }
.cards { display: flex; flex-wrap: wrap; gap: .6em }
.card { display: flex; flex-wrap: wrap; gap: .5em; border: 1px solid #bbb; padding: .4em;
  margin: 0; min-width: 0; max-width: 100%; box-sizing: border-box; break-inside: avoid }
.card img { display: block; max-width: 100%; height: auto; align-self: start }
legend { font-size: .9em; padding: 0 .2em }
label { display: block; padding: .3em 0 }
input[type=radio] { font: inherit; width: 1.2em; height: 1.2em }
.words label { display: inline-block; margin-right: 1.5em }
input:checked + span { font-weight: bold }
input[type=text] { font: inherit; padding: .2em; max-width: 100%; box-sizing: border-box }
.typed { max-width: 18em } input.cell { width: 6em } input.words { width: 12em }
input.label { width: 18em }
input[aria-invalid=true] { outline: 2px solid #b00020 } [role=status] { color: #b00020 }
[role=status]:not(:empty) { display: block }
pre { margin: 0 0 .5em; letter-spacing: .35em } mark { background: #fc6 }
textarea { width: 100%; height: 12em; font: 16px monospace; box-sizing: border-box }
button, a[download] { font: inherit; display: inline-block; padding: .4em .8em; margin: .2em 0 }
@media print { textarea, button, p.save, h2.end { display: none } }
"""
_SCRIPT = r"""
const out = document.querySelector("textarea"), link = document.querySelector("a[download]");
const undo = document.querySelector("button");
const fields = [...document.querySelectorAll("input")];
const called = (one) => one.type === "radio" ? one.name : one.dataset.start;
const key = "review " + document.body.dataset.sheet;
const word = "((given|entry):)?[1-9.]", cell = "R[1-9]C[1-9]=" + word;
const kinds = {
  cell: new RegExp("^" + word + "$", "i"),
  words: new RegExp("^" + cell + "(\\s+" + cell + ")*$", "i"),
  label: /^.{1,200}$/u,
};
let before = [], now = {};

function state() {
  const said = {};
  for (const one of fields)
    if (one.type === "radio" ? one.checked : one.value.trim()) said[called(one)] = one.value;
  return said;
}
function show(said) {
  for (const one of fields) {
    const value = Object.hasOwn(said, called(one)) ? said[called(one)] : "";
    if (one.type === "radio") one.checked = one.value === value; else one.value = value;
  }
}
function fits(one) {
  const shape = kinds[one.dataset.kind], text = one.value.trim();
  const good = !text || shape.test(text);
  one.setAttribute("aria-invalid", String(!good));
  one.nextElementSibling.textContent = good ? "" : told[one.dataset.kind];
  return good && text !== "";
}
function gather() {
  const lines = [];
  for (const one of fields)
    if (one.type === "radio") { if (one.checked) lines.push(one.value); }
    else if (fits(one)) lines.push(one.dataset.start + one.value.trim());
  out.value = lines.join("\n") + (lines.length ? "\n" : "");
  link.href = "data:text/plain;charset=utf-8," + encodeURIComponent(out.value);
  undo.disabled = before.length === 0;
}
function keep(said) {
  const text = JSON.stringify(said);
  try { localStorage.setItem(key, text); } catch { /* a browser that keeps nothing of files */ }
  try { history.replaceState({ [key]: text }, ""); } catch { /* nor of pages */ }
}
function kept() {
  let text = null;
  try { text = localStorage.getItem(key); } catch { /* as above */ }
  try { return JSON.parse(text ?? (history.state || {})[key] ?? "{}") || {}; }
  catch { return {}; }
}
function changed() {
  const after = state();
  if (JSON.stringify(after) !== JSON.stringify(now)) {
    before.push(now);
    now = after;
    keep(now);
  }
  gather();
}
// What is being typed is one step, from the first letter to the last.
document.addEventListener("input", (event) => {
  if (event.target.type === "text") { keep(state()); gather(); } else changed();
});
document.addEventListener("change", changed);
addEventListener("pagehide", changed);
undo.addEventListener("click", () => {
  changed();
  now = before.pop() ?? now;
  show(now);
  keep(now);
  gather();
});
now = kept();
show(now);
now = state();
gather();
"""


def _by_hash(text: str) -> str:
    """How a policy names the one script or style that may be in a page (W3C, *CSP Level 3*)."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode('ascii')}'"


def _policy(script: str) -> str:
    return (
        "default-src 'none'; base-uri 'none'; form-action 'none'; img-src data:;"
        f" style-src {_by_hash(_STYLE)}; script-src {_by_hash(script)}"
    )


_COMMAND = "<code>papernudge digitise --book FILE --corrections corrections.txt</code>"


def _script(others: bool) -> str:
    """The script with what it says where something typed doesn't fit. ``others``: whether there are
    other boards than the newspaper's.
    """
    script = _SCRIPT
    if others:
        for narrow, wide in _WIDER:
            script = script.replace(narrow, wide)
    wanted = {CELL_WORD: "review, a digit", WORDS: "review, cells", LABEL: "review, a label"}
    told = {
        kind: in_words("review, expected", wanted=message(code)) for kind, code in wanted.items()
    }
    as_json = json.dumps(told).replace("</", "<\\/")  # no text may end the script
    return f"const told = {as_json};{script}"


_WIDER = (
    ('"((given|entry):)?[1-9.]"', '"((given|entry):)?(1[0-6]|[1-9A-G.])"'),
    ("R[1-9]C[1-9]=", "R(1[0-6]|[1-9])C(1[0-6]|[1-9])="),
)
"""What may be typed on boards of up to sixteen rows."""


def page(blocks: Sequence[str], others: bool = False) -> str:
    """The sheet of these grids, each a section of HTML. ``others``: whether some are of other
    boards than the newspaper's.
    """
    sheet = hashlib.sha256("".join(blocks).encode("utf-8", "replace")).hexdigest()[:16]
    intro = _said("review, intro") if blocks else _said("review, nothing")
    script = _script(others)
    return (
        f"<!doctype html><html lang={spoken().language}><head><meta charset=utf-8>"
        '<meta name=viewport content="width=device-width">'
        f'<meta http-equiv="Content-Security-Policy" content="{_policy(script)}">'
        f"<title>{_said('review, title')}</title><style>{_STYLE}</style></head>"
        f"<body data-sheet={sheet}><h1>{_said('review, head', count=len(blocks))}</h1>"
        f"<p>{intro}</p>{''.join(blocks)}<h2 class=end>{_said('review, corrections')}</h2>"
        f'<textarea readonly aria-label="{_said("review, corrections")}"></textarea>'
        f"<p class=save><button type=button>{_said('review, undo')}</button>"
        f' <a download="corrections.txt">{_said("review, save")}</a></p>'
        f"<script>{script}</script></body></html>\n"
    )


def _said(code: str, **data: object) -> str:
    """Text of the sheet, as HTML."""
    return html.escape(in_words(code, command="\0", **data)).replace("\0", _COMMAND)
