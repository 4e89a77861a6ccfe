// What a place in the picture says, and what is looked at: found by the pointer, or by keys.
'use strict';

const facts = $('facts');
const help = [...facts.childNodes];
const place = element('p', { class: 'place live-only' });
// What is shown by its facts: { head, index, all, sliced }, or { changes }, { watts }, { layer }.
let picked = null;

function line(term, text) {
  return element('div', {}, element('dt', {}, term), element('dd', {}, text));
}

function gapFacts(i) {
  return [
    line('parked for', lasting(G.to_s[i] - G.from_s[i])),
    line('until', when(G.to_s[i])),
    line('treatment', G.treatment[i]),
    line('dip', degrees(G.dip_c[i])),
    G.preheat_at_s[i] === null ? '' : line('preheat', when(G.preheat_at_s[i])),
    line('wait', G.wait_s[i] > 0.05 ? lasting(G.wait_s[i]) : 'none'),
    line('hot idle', lasting(G.hot_idle_s[i])),
    G.reason[i] ? line('reason', G.reason[i]) : '',
  ];
}

function changeFacts(i) {
  return [
    line('change', `${C.kind[i]}, to ${filament(C.to_tool[i])}`),
    line('at', when(C.at_s[i])),
    line('layer', C.layer[i]),
    line('line', C.line[i]),
    C.exchange_s[i] > 0 ? line('exchange', lasting(C.exchange_s[i])) : '',
    C.wait_s[i] > 0.05 ? line('wait', lasting(C.wait_s[i])) : '',
  ];
}

// The title, the facts, and the row that tells more: [table, number].
function factsOf(what, t = what.t) {
  if (what.changes) {
    const [first] = what.changes,
      n = what.changes.length;
    if (n === 1) return ['Change', changeFacts(first), ['changes', first]];
    const exchanges = what.changes.filter((i) => C.exchange_s[i] > 0).length;
    return [
      `${heads[what.head].name}: ${n} changes close together`,
      [line('exchanges', exchanges), line('from', when(C.at_s[first]))],
      ['changes', first],
    ];
  }
  if (what.layer >= 0) {
    const from = layers[what.layer],
      to = what.layer + 1 < layers.length ? layers[what.layer + 1] : DONE;
    return [
      `Layer ${what.layer + 1} of ${layers.length}`,
      [line('from', when(from)), line('lasts', lasting(to - from))],
    ];
  }
  if (what.watts >= 0) {
    return [
      'Heating power',
      [
        line('at', when(t)),
        line('heaters at full drive', `${what.watts} W`),
        line('limit', D.limit_w ? `${D.limit_w} W` : 'none'),
      ],
    ];
  }
  const { all, index: i, sliced: second } = what,
    kind = all.kind[i];
  const name = kind < USE ? KINDS[kind] : `prints ${filament(D.filaments[kind - USE].tool)}`;
  const ref = second ? -1 : all.ref[i],
    at = t === undefined ? all.from[i] : t;
  const wait = all.waits.from.findIndex(
    (from, k) => from < all.to[i] && all.waits.to[k] > all.from[i],
  );
  return [
    `${heads[what.head].name}${second ? ', as sliced' : ''}: ${name}`,
    [
      line('from', when(all.from[i])),
      line('lasts', lasting(all.to[i] - all.from[i])),
      line('heater', `${degrees(valueAt(all.at, all.temp, at))} at ${when(at)}`),
      wait < 0 ? '' : line('the machine waits', lasting(all.waits.to[wait] - all.waits.from[wait])),
      ...(ref < 0 ? [] : kind < USE ? gapFacts(ref) : changeFacts(ref)),
    ],
    ref < 0 ? null : [kind < USE ? 'gaps' : 'changes', ref],
  ];
}

function tell(what) {
  if (!what) {
    facts.replaceChildren(...help);
    return;
  }
  const [title, lines, row] = factsOf(what);
  const list = element('dl', {});
  list.append(...lines);
  facts.replaceChildren(element('h3', {}, title), list);
  const button = (words, does) => {
    const out = element('button', { type: 'button' }, words);
    on(out, 'click', does);
    facts.append(out, ' ');
  };
  if (row) button('show its row', () => goToRow(what));
  if (what.all) {
    button('zoom to it', () => lookAt(what.all.from[what.index], what.all.to[what.index]));
  }
}

function goToRow(what) {
  const row = what && factsOf(what)[2];
  if (row && tables[row[0]]) tables[row[0]].show(row[1]);
}

// Where an interval is drawn: its lane, or the strip.
function placeOfPicked({ head, index, all, sliced: second }) {
  const band = second ? rows[head].second : rows[head],
    kind = all.kind[index];
  if (!band || kind < USE) return band && { top: band.strip, tall: STRIP };
  return {
    top: band.lanes + heads[head].filaments.indexOf(kind - USE) * band.tall,
    tall: band.tall,
  };
}

function stretchOf(head, t, second) {
  const all = (second ? sliced : planned).heads[head],
    index = stretchAt(all, t);
  return index < 0 ? null : { head, index, all, sliced: second };
}

// The first interval that a row of a table tells of.
function stretchOfRow(head, row, use) {
  const all = planned.heads[head],
    index = all.ref.findIndex((ref, i) => ref === row && all.kind[i] >= USE === use);
  return index < 0 ? null : { head, index, all, sliced: false };
}

// What is at a place of the canvas, and when that is.
function found(px, py) {
  if (px < left || px > right) return null;
  const t = secondsAt(px);
  if (py >= layersTop() - 4) {
    const layer = upper(layers, t) - 1;
    return layer < 0 || t > DONE ? null : { layer, t };
  }
  if (py >= powerTop() - 8 && mostWatts > 0) {
    return { watts: planned.watts[Math.max(upper(planned.at, t) - 1, 0)], t };
  }
  const head = rows.findIndex((row) => py >= row.top && py < row.bottom + 8);
  if (head < 0) return null;
  const row = rows[head],
    { changes, changesAt } = heads[head];
  if (py < row.top + TICKS) {
    const group = grouped(changesAt, seen, slot()).find(([a, b]) => {
      const at = b - a > 1 ? Math.floor(changesAt[a] / slot()) * slot() + slot() / 2 : changesAt[a];
      return Math.abs(x(at) - px) < 6;
    });
    if (group) return { head, changes: changes.slice(...group), t };
  }
  const second = Boolean(row.second) && py >= row.second.lanes - 9 && py < row.plot - 4;
  const stretch = stretchOf(head, t, second);
  return stretch && { ...stretch, t };
}

// Chooses an interval, for good: the fragment says which.
function pick(what) {
  picked = what;
  state.pick = what && what.all ? `${what.head},${what.index}${what.sliced ? ',sliced' : ''}` : '';
  tell(what);
  redraw();
}
function pickOf(text) {
  const m = /^(\d+),(\d+)(,sliced)?$/.exec(text || '');
  const band = m && (m[3] ? sliced : planned),
    all = band && band.heads[+m[1]];
  if (!all || !(+m[2] < all.kind.length)) return null;
  return { head: +m[1], index: +m[2], all, sliced: Boolean(m[3]) };
}

function look(next) {
  view = next;
  redraw();
}
// The stretch, with as much on either side.
function lookAt(from, to) {
  const span = Math.max(to - from, 1);
  look(clamped({ from: from - span, to: to + span }, END));
}

// The interval before or after, moved into sight.
function step(by) {
  const middle = (view.from + view.to) / 2;
  let now = picked && picked.all ? picked : stretchOf(0, middle, false);
  if (!now) return;
  if (picked) {
    const index = Math.min(Math.max(now.index + by, 0), now.all.from.length - 1);
    now = { ...now, index, t: undefined };
  }
  const { from, to } = now.all,
    i = now.index;
  if (from[i] < view.from || to[i] > view.to) {
    view = panned(view, (from[i] + to[i]) / 2 - middle, END);
  }
  pick(now);
}

// The toolhead above or below, at the same time.
function change(by) {
  let t = (view.from + view.to) / 2,
    head = 0;
  if (picked && picked.all) {
    const { from, to } = picked.all,
      i = picked.index;
    t = (Math.max(from[i], view.from) + Math.min(to[i], view.to)) / 2;
    head = Math.min(Math.max(picked.head + by, 0), heads.length - 1);
  }
  const now = stretchOf(head, t, false);
  if (now) pick(now);
}
