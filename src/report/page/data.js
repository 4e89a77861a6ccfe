// The one data block (config/page.schema.json) as what is drawn from, and what of it is looked at.
// Text is only ever put in as text.
'use strict';

const D = JSON.parse(document.getElementById('data').textContent);
const $ = (id) => document.getElementById(id);
const KINDS = ['off', 'standby', 'hold', 'heating'];
// Kinds from here on are uses: USE + number of the filament.
const USE = KINDS.length;
const ALL = USE + D.filaments.length;
const CLOCK = parseClock(D.start);
const G = D.gaps;
const C = D.changes;

function element(tag, attributes, ...children) {
  const out = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes || {})) out.setAttribute(name, value);
  out.append(...children);
  return out;
}

const on = (target, kind, does, options) => target.addEventListener(kind, does, options);

// What stands still of one toolhead: waits, and step sequences.
function stopsOf(stops, head, wanted) {
  const out = { from: [], to: [], kind: [] };
  const from = cumulated(stops.from, 0.01);
  for (let i = 0; i < from.length; ++i) {
    if (stops.head[i] !== head || (stops.kind[i] === 1) !== wanted) continue;
    out.from.push(from[i]);
    out.to.push(from[i] + stops.length[i] * 0.01);
    out.kind.push(0);
  }
  return out;
}

function unpacked(band) {
  return {
    heads: band.heads.map((h, head) => {
      const from = cumulated(h.from, 0.01);
      return {
        from,
        to: from.map((s, i) => s + h.length[i] * 0.01),
        kind: h.kind,
        ref: h.ref,
        at: cumulated(h.at, 0.01),
        temp: cumulated(h.temp, 1),
        waits: stopsOf(band.stops, head, false),
        sequences: stopsOf(band.stops, head, true),
      };
    }),
    at: cumulated(band.power.at, 0.01),
    watts: cumulated(band.power.watts, 1),
  };
}

const planned = unpacked(D.planned);
const sliced = unpacked(D.sliced);
const layers = cumulated(D.layers, 0.01);
const mostWatts = planned.watts.reduce((a, b) => Math.max(a, b), D.limit_w || 0);

// Of each toolhead: the filaments that it prints, in their order, and its changes.
const heads = D.heads.map((head, h) => {
  const kinds = new Set([...planned.heads[h].kind, ...sliced.heads[h].kind]);
  const changes = C.at_s.map((_, i) => i).filter((i) => C.toolhead[i] === h);
  return {
    ...head,
    filaments: D.filaments.map((_, f) => f).filter((f) => kinds.has(USE + f)),
    changes,
    changesAt: changes.map((i) => C.at_s[i]),
  };
});

// ---- what is looked at, kept in the fragment

let state = stateOf(location.hash);
const showSliced = () => state.sliced === '1';
// As sliced it may take longer.
const DONE = D.planned.end_s;
let END, view;
function begin() {
  END = showSliced() ? D.end_s : DONE;
  view = placeOf(state.place, END) || { from: 0, to: END };
}
begin();
let saving = 0;

function keep() {
  const tenth = (s) => Math.round(s * 10) / 10;
  state.place = view.from <= 0 && view.to >= END ? '' : `${tenth(view.from)},${tenth(view.to)}`;
  clearTimeout(saving);
  saving = setTimeout(() => {
    for (const table of Object.values(tables)) table.moved();
    const fragment = fragmentOf(state);
    history.replaceState(null, '', fragment ? `#${fragment}` : location.pathname);
  }, 150);
}

// ---- words

// Days of a week are told apart by their names.
const longJob = DONE > 6 * DAY_S;
function when(s) {
  if (CLOCK === null) return jobTime(s);
  const c = clockParts(CLOCK + s);
  return `${longJob ? c.day : c.day.slice(0, 3)} ${c.time}:${c.seconds}`;
}
const degrees = (c) => `${Math.round(c)} °C`;
const headName = (h) => (h >= 0 && h < heads.length ? heads[h].name : '');
const tool = (t) => (t < 0 ? '' : `T${t}`);
const names = new Map(D.filaments.map((f) => [f.tool, `T${f.tool} ${f.name}`.trim()]));
const filament = (t) => names.get(t) || tool(t);
