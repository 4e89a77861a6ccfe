// The page at work: the picture that is looked into, and the tables under it.
//
// Everything comes from the one data block (config/page.schema.json); text is only ever put in as
// text. Without this script the page shows the still picture and the first rows of each table.
'use strict';

const D = JSON.parse(document.getElementById('data').textContent);
const $ = (id) => document.getElementById(id);
const KINDS = ['off', 'standby', 'hold', 'heating'];
const USE = KINDS.length;  // kinds from here on are uses: USE + number of the filament
const END = D.end_s;
const CLOCK = parseClock(D.start);

function element(tag, attributes, ...children) {
  const out = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes || {})) {
    if (value === true) out.setAttribute(name, '');
    else if (value !== null && value !== undefined && value !== false) out.setAttribute(name, value);
  }
  out.append(...children);
  return out;
}

// ---- what the data block has in short

function unpacked(band) {
  return {
    heads: band.heads.map((h) => {
      const from = cumulated(h.from, 0.01), to = new Float64Array(from.length);
      for (let i = 0; i < from.length; ++i) to[i] = from[i] + h.length[i] * 0.01;
      return { from, to, kind: h.kind, ref: h.ref, at: cumulated(h.at, 0.01), temp: cumulated(h.temp, 1) };
    }),
    stops: { from: cumulated(band.stops.from, 0.01), length: band.stops.length, head: band.stops.head,
      kind: band.stops.kind },
    power: { at: cumulated(band.power.at, 0.01), watts: cumulated(band.power.watts, 1) },
  };
}
const planned = unpacked(D.planned), sliced = D.sliced ? unpacked(D.sliced) : null;
const layers = cumulated(D.layers, 0.01);
const G = D.gaps, C = D.changes;

// ---- state, kept in the fragment

const state = Object.assign({ place: '', sliced: '', row: '' }, stateOf(location.hash));
let view = placeOf(state.place, END) || { from: 0, to: END };
let chosen = null;  // { head, band, index } or { change }
let saving = 0;

function keep() {
  const all = view.from <= 0 && view.to >= END;
  state.place = all ? '' : `${Math.round(view.from * 10) / 10},${Math.round(view.to * 10) / 10}`;
  clearTimeout(saving);
  saving = setTimeout(() => history.replaceState(null, '', `#${fragmentOf(state)}`), 150);
}

// ---- times

const when = (s) => {
  if (CLOCK === null) return jobTime(s);
  const c = clockParts(CLOCK + s);
  return `${c.day} ${c.time}:${c.seconds}`;
};

// ---- colours come from the style, so that dark and forced colours hold here, too

let ink = {};
function readColours() {
  const style = getComputedStyle(document.documentElement);
  const get = (name) => style.getPropertyValue(`--${name}`).trim();
  ink = { ground: get('ground'), sheet: get('sheet'), text: get('ink'), soft: get('soft'), rule: get('rule'),
    wait: get('wait'), away: get('away'), mark: get('mark'), limit: get('caution'),
    kinds: KINDS.map(get), filaments: D.filaments.map((f) => get(`filament-${f.look}`)) };
  patterns.clear();
}

// Each filament has a hatch besides its colour.
const patterns = new Map();
function hatch(context, filament) {
  const key = filament;
  if (patterns.has(key)) return patterns.get(key);
  const size = 8, tile = document.createElement('canvas'), ratio = window.devicePixelRatio || 1;
  tile.width = tile.height = size * ratio;
  const c = tile.getContext('2d');
  c.scale(ratio, ratio);
  c.fillStyle = ink.filaments[filament];
  c.fillRect(0, 0, size, size);
  c.strokeStyle = c.fillStyle = ink.sheet;
  c.globalAlpha = 0.6;
  c.lineWidth = 1.5;
  const lines = (...all) => {
    c.beginPath();
    for (const [x1, y1, x2, y2] of all) { c.moveTo(x1, y1); c.lineTo(x2, y2); }
    c.stroke();
  };
  switch (D.filaments[filament].look % 8) {
    case 1: lines([-2, 6, 6, -2], [2, 10, 10, 2]); break;
    case 2: lines([-2, 2, 6, 10], [2, -2, 10, 6]); break;
    case 3: c.beginPath(); c.arc(4, 4, 1.5, 0, 7); c.fill(); break;
    case 4: lines([0, 4, 8, 4]); break;
    case 5: lines([4, 0, 4, 8]); break;
    case 6: lines([0, 4, 8, 4], [4, 0, 4, 8]); break;
    case 7: lines([-2, 6, 6, -2], [2, 10, 10, 2], [-2, 2, 6, 10], [2, -2, 10, 6]); break;
    default: break;
  }
  const pattern = context.createPattern(tile, 'repeat');
  pattern.setTransform(new DOMMatrix().scale(1 / ratio));
  patterns.set(key, pattern);
  return pattern;
}

// ---- the picture

const canvas = $('picture'), minimap = $('minimap'), facts = $('facts');
const AXIS = 40, STRIP = 22, TICKS = 16, PLOT = 58, GAP = 12, POWER = 46, LAYERS = 18;
let left = 118, width = 800, height = 400, dirty = 0, mapImage = null;

const showSliced = () => sliced !== null && state.sliced === '1';
const rowHeight = () => 8 + STRIP + (showSliced() ? STRIP + 4 : 0) + TICKS + PLOT + GAP;
const rowTop = (head) => AXIS + head * rowHeight();
const powerTop = () => rowTop(D.heads.length);
const layersTop = () => powerTop() + POWER + 2 * GAP;
const x = (s) => left + (s - view.from) / (view.to - view.from) * width;
const secondsAt = (px) => view.from + (px - left) / width * (view.to - view.from);

function size(target, w, h) {
  const ratio = window.devicePixelRatio || 1;
  if (target.width !== Math.round(w * ratio)) target.width = Math.round(w * ratio);
  if (target.height !== Math.round(h * ratio)) target.height = Math.round(h * ratio);
  target.style.height = `${h}px`;
  const c = target.getContext('2d');
  c.setTransform(ratio, 0, 0, ratio, 0, 0);
  c.clearRect(0, 0, w, h);
  c.textBaseline = 'middle';
  return c;
}
const font = (px, weight) => `${weight || 400} ${px}px system-ui, "DejaVu Sans", sans-serif`;

// Text that has to fit; what does not is cut with an ellipsis.
function fitted(c, text, most) {
  if (c.measureText(text).width <= most) return text;
  let n = text.length;
  while (n > 1 && c.measureText(`${text.slice(0, n)}…`).width > most) --n;
  return `${text.slice(0, n)}…`;
}

function drawAxis(c, bottom) {
  const step = axisStep(view.to - view.from, Math.max(width / 84, 2));
  const origin = CLOCK === null ? 0 : -(((CLOCK % DAY_S) + DAY_S) % DAY_S);
  if (CLOCK !== null) {
    for (const [a, b] of awayStretches(D.away, CLOCK, view.from, view.to)) {
      c.fillStyle = ink.away;
      c.fillRect(x(a), AXIS - 6, x(b) - x(a), bottom - AXIS + 6);
      if (x(b) - x(a) > 44) {
        c.fillStyle = ink.soft;
        c.font = font(11);
        c.textAlign = 'left';
        c.fillText('away', x(a) + 4, bottom - 8);
      }
    }
  }
  c.strokeStyle = ink.rule;
  c.lineWidth = 1;
  c.font = font(12);
  c.textAlign = 'center';
  let shownDay = '', lastRight = -Infinity;
  for (const t of axisTicks(view, step, origin)) {
    const at = Math.round(x(t)) + 0.5;
    c.beginPath();
    c.moveTo(at, AXIS - 6);
    c.lineTo(at, bottom);
    c.stroke();
    let text = step < 1 ? jobTime(t, true) : jobTime(t);
    if (CLOCK !== null) {
      const parts = clockParts(CLOCK + t);
      text = step < 60 ? `${parts.time}:${parts.seconds}` : parts.time;
      if (parts.day !== shownDay) {
        shownDay = parts.day;
        c.fillStyle = ink.text;
        const half = c.measureText(parts.day).width / 2;
        const middle = Math.min(Math.max(at, left + half), left + width - half);
        if (middle - half > lastRight + 8) {
          c.fillText(parts.day, middle, 9);
          lastRight = middle + half;
        }
      }
    }
    c.fillStyle = ink.soft;
    const half = c.measureText(text).width / 2;
    c.fillText(text, Math.min(Math.max(at, left + half), left + width - half), 25);
  }
  if (CLOCK !== null) {
    c.strokeStyle = ink.soft;
    for (const t of axisTicks(view, DAY_S, origin)) {
      c.beginPath();
      c.moveTo(x(t), 0);
      c.lineTo(x(t), bottom);
      c.stroke();
    }
  } else {
    c.fillStyle = ink.soft;
    c.textAlign = 'left';
    c.fillText('h:min:s from the start', left, 9);
  }
}

const heights = [3, 9, 15, STRIP];  // of kinds: the hotter, the higher

function drawStretch(c, kind, from, to, top) {
  const a = Math.max(from, left - 4), b = Math.min(to, left + width + 4);
  if (kind >= USE) {
    c.fillStyle = hatch(c, kind - USE);
    c.fillRect(a, top, b - a, STRIP);
    if (b - a > 16) {
      const letter = D.filaments[kind - USE].letter;
      c.font = font(12, 700);
      c.textAlign = 'center';
      const middle = (Math.max(a, left) + Math.min(b, left + width)) / 2;
      c.fillStyle = ink.sheet;
      c.fillRect(middle - 8, top + 3, 16, STRIP - 6);
      c.fillStyle = ink.text;
      c.fillText(letter, middle, top + STRIP / 2 + 1);
    }
    return;
  }
  c.fillStyle = ink.kinds[kind];
  if (KINDS[kind] === 'heating') {
    c.beginPath();
    c.moveTo(a, top + STRIP);
    c.lineTo(b, top + STRIP);
    c.lineTo(b, top + 2);
    c.fill();
    return;
  }
  c.fillRect(a, top + STRIP - heights[kind], b - a, heights[kind]);
}

function drawStrip(c, stretches, top) {
  const parts = aggregated(stretches, view, Math.floor(width), USE + D.filaments.length, 2);
  for (const { x: column, shares } of parts.columns) {
    let y = top + STRIP;
    for (let kind = shares.length - 1; kind >= 0; --kind) {
      if (shares[kind] <= 0) continue;
      const h = shares[kind] * STRIP;
      c.fillStyle = kind >= USE ? ink.filaments[kind - USE] : ink.kinds[kind];
      c.globalAlpha = kind === 0 ? 0.35 : 1;
      c.fillRect(left + column, y - h, 1, h);
      y -= h;
    }
  }
  c.globalAlpha = 1;
  for (const i of parts.whole) drawStretch(c, stretches.kind[i], x(stretches.from[i]), x(stretches.to[i]), top);
}

function drawStops(c, band, head, top) {
  const { from, length, head: heads, kind } = band.stops;
  c.fillStyle = ink.wait;
  for (let i = 0; i < from.length; ++i) {
    if (heads[i] !== head || kind[i] !== 0) continue;
    const to = from[i] + length[i] * 0.01;
    if (to < view.from || from[i] > view.to) continue;
    c.fillRect(x(from[i]), top - 5, Math.max(x(to) - x(from[i]), 2), 4);
  }
}

// Changes are ticks: an exchange is a diamond, another toolhead a line, nothing changed a dot.
// Where they come too close, the height of a column says how many.
function drawTicks(c, head, top) {
  const near = new Map();
  for (let i = upper(C.at_s, view.from) - 1; i < C.at_s.length; ++i) {
    if (i < 0 || C.toolhead[i] !== head) continue;
    if (C.at_s[i] > view.to) break;
    const column = Math.floor((C.at_s[i] - view.from) / (view.to - view.from) * width / 7);
    if (!near.has(column)) near.set(column, []);
    near.get(column).push(i);
  }
  for (const [column, all] of near) {
    if (all.length > 1) {
      const exchanges = all.filter((i) => C.exchange_s[i] > 0).length;
      c.fillStyle = ink.soft;
      c.fillRect(left + column * 7 + 1, top + TICKS - 2 - Math.min(all.length, 12), 5, Math.min(all.length, 12));
      c.fillStyle = ink.mark;
      c.fillRect(left + column * 7 + 1, top + TICKS - 2 - Math.min(exchanges, 12), 5, Math.min(exchanges, 12));
      continue;
    }
    const at = x(C.at_s[all[0]]);
    if (at < left || at > left + width) continue;
    if (C.exchange_s[all[0]] > 0) {
      c.fillStyle = ink.mark;
      c.beginPath();
      c.moveTo(at, top + 2);
      c.lineTo(at + 5, top + 8);
      c.lineTo(at, top + 14);
      c.lineTo(at - 5, top + 8);
      c.fill();
    } else if (C.kind[all[0]] === 'redundant') {
      c.fillStyle = ink.soft;
      c.beginPath();
      c.arc(at, top + 8, 2, 0, 7);
      c.fill();
    } else {
      c.fillStyle = ink.soft;
      c.fillRect(at - 0.75, top + 2, 1.5, 12);
    }
  }
  const { from, length, head: heads, kind } = planned.stops;
  c.strokeStyle = ink.soft;
  c.lineWidth = 1;
  for (let i = 0; i < from.length; ++i) {
    if (heads[i] !== head || kind[i] !== 1) continue;
    const a = x(from[i]), b = x(from[i] + length[i] * 0.01);
    if (b < left || a > left + width || b - a < 3) continue;
    c.strokeRect(a, top + 5, b - a, 6);
  }
}

function drawLine(c, at, temp, y, colour, dashed) {
  c.strokeStyle = colour;
  c.lineWidth = 1.5;
  c.setLineDash(dashed ? [4, 3] : []);
  c.beginPath();
  let first = true;
  const go = (px, value) => {
    if (first) c.moveTo(px, y(value)); else c.lineTo(px, y(value));
    first = false;
  };
  const begins = upper(at, view.from) - 1, ends = upper(at, view.to);
  if (ends - begins < width) {
    for (let i = Math.max(begins, 0); i <= Math.min(ends, at.length - 1); ++i) go(x(at[i]), temp[i]);
  } else {
    for (const e of envelope(at, temp, view, Math.floor(width))) {
      go(left + e.x, e.enters);
      c.lineTo(left + e.x + 0.5, y(e.low));
      c.lineTo(left + e.x + 0.5, y(e.high));
      c.lineTo(left + e.x + 1, y(e.leaves));
    }
  }
  c.stroke();
  c.setLineDash([]);
}

function drawPlot(c, head, top) {
  const h = D.heads[head];
  const high = h.scale_c, y = (t) => top + PLOT - Math.max(Math.min(t / high, 1), 0) * PLOT;
  c.strokeStyle = ink.rule;
  c.lineWidth = 1;
  c.strokeRect(left + 0.5, top + 0.5, width - 1, PLOT);
  c.font = font(11);
  c.textAlign = 'right';
  let last = Infinity;
  for (const [value, name] of [[h.work_c, 'working'], [h.standby_c, 'standby']]) {
    if (value === null) continue;
    c.strokeStyle = ink.soft;
    c.setLineDash([1, 3]);
    c.beginPath();
    c.moveTo(left, y(value));
    c.lineTo(left + width, y(value));
    c.stroke();
    c.setLineDash([]);
    c.fillStyle = ink.soft;
    const at = Math.max(y(value), last === Infinity ? -Infinity : last + 13);
    c.fillText(`${left > 100 ? `${name} ` : ''}${value} °C`, left - 6, at);
    last = at;
  }
  c.save();
  c.beginPath();
  c.rect(left, top - 1, width, PLOT + 2);
  c.clip();
  if (showSliced()) drawLine(c, sliced.heads[head].at, sliced.heads[head].temp, y, ink.soft, true);
  drawLine(c, planned.heads[head].at, planned.heads[head].temp, y, ink.text, false);
  c.restore();
}

function drawPower(c) {
  const top = powerTop() + GAP;
  const { at, watts } = planned.power;
  let high = D.limit_w || 0;
  for (const w of watts) high = Math.max(high, w);
  if (!(high > 0)) return;
  high *= 1.1;
  const y = (w) => top + POWER - w / high * POWER;
  c.font = font(12, 600);
  c.textAlign = 'left';
  c.fillStyle = ink.text;
  c.fillText('heating', 4, top + 8);
  c.font = font(11);
  c.fillStyle = ink.soft;
  c.textAlign = 'right';
  c.fillText(`${Math.round(high / 1.1)} W`, left - 6, y(high / 1.1));
  c.fillText('0', left - 6, top + POWER - 2);
  c.strokeStyle = ink.rule;
  c.strokeRect(left + 0.5, top + 0.5, width - 1, POWER);
  c.fillStyle = ink.kinds[3];
  const steps = Math.floor(width);
  const perPixel = (view.to - view.from) / steps;
  let i = Math.max(upper(at, view.from) - 1, 0);
  for (let px = 0; px < steps && at.length > 0; ++px) {
    const right = view.from + (px + 1) * perPixel;
    let most = at[i] <= right ? watts[i] : 0;
    while (i + 1 < at.length && at[i + 1] < right) most = Math.max(most, watts[++i]);
    if (most > 0) c.fillRect(left + px, y(most), 1, top + POWER - y(most));
  }
  if (D.limit_w) {
    c.strokeStyle = ink.limit;
    c.lineWidth = 1.5;
    c.beginPath();
    c.moveTo(left, y(D.limit_w));
    c.lineTo(left + width, y(D.limit_w));
    c.stroke();
  }
}

function drawLayers(c) {
  const top = layersTop();
  c.font = font(12, 600);
  c.textAlign = 'left';
  c.fillStyle = ink.text;
  c.fillText('layers', 4, top + LAYERS / 2);
  c.font = font(11);
  const first = Math.max(upper(layers, view.from) - 1, 0), last = upper(layers, view.to);
  let every = 1;
  while (width / Math.max(last - first, 1) * every < 5) every *= every === 1 || every % 10 ? 10 : 5;
  for (let i = first - first % every; i < last; i += every) {
    const a = Math.max(x(layers[i]), left), b = Math.min(x(i + every < layers.length ? layers[i + every] : END), left + width);
    if (b <= a) continue;
    c.fillStyle = Math.floor(i / every) % 2 ? ink.rule : ink.sheet;
    c.fillRect(a, top, b - a, LAYERS);
    if (b - a > 34) {
      c.fillStyle = ink.soft;
      c.textAlign = 'left';
      c.fillText(String(i + 1), a + 4, top + LAYERS / 2);
    }
  }
  c.strokeStyle = ink.rule;
  c.strokeRect(left + 0.5, top + 0.5, width - 1, LAYERS - 1);
}

function drawChosen(c, bottom) {
  if (chosen === null) return;
  c.strokeStyle = ink.mark;
  c.lineWidth = 2;
  const s = chosen.stretches;
  const a = x(s.from[chosen.index]), b = x(s.to[chosen.index]);
  c.strokeRect(Math.max(a, left) - 1, chosen.top - 2, Math.max(Math.min(b, left + width) - Math.max(a, left), 2) + 2, STRIP + 4);
}

function draw() {
  dirty = 0;
  const w = canvas.clientWidth;
  left = w < 600 ? 62 : 118;
  width = Math.max(w - left - 10, 50);
  const narrow = left < 100;
  height = layersTop() + LAYERS + 12;
  const c = size(canvas, w, height);
  drawAxis(c, height - 8);
  for (let head = 0; head < D.heads.length; ++head) {
    let top = rowTop(head) + 8;
    c.save();
    c.beginPath();
    c.rect(left - 1, 0, width + 2, height);
    c.clip();
    drawStops(c, planned, head, top);
    drawStrip(c, planned.heads[head], top);
    c.restore();
    c.fillStyle = ink.text;
    c.font = font(13, 600);
    c.textAlign = 'left';
    c.fillText(fitted(c, D.heads[head].name, left - 10), 4, top + STRIP / 2);
    top += STRIP;
    if (showSliced()) {
      top += 4;
      c.save();
      c.beginPath();
      c.rect(left - 1, 0, width + 2, height);
      c.clip();
      c.globalAlpha = 0.75;
      drawStrip(c, sliced.heads[head], top);
      drawStops(c, sliced, head, top);
      c.restore();
      c.fillStyle = ink.soft;
      c.font = font(11);
      c.textAlign = narrow ? 'left' : 'right';
      c.fillText('as sliced', narrow ? 4 : left - 6, top + STRIP / 2);
      top += STRIP;
    }
    drawTicks(c, head, top);
    drawPlot(c, head, top + TICKS);
  }
  drawPower(c);
  drawLayers(c);
  drawChosen(c);
  drawMinimap();
}

function redraw() {
  keep();
  if (!dirty) dirty = requestAnimationFrame(draw);
}

// The whole job, drawn once, and a window over what is seen.
function drawMinimap() {
  const w = minimap.clientWidth, rows = D.heads.length, h = 8 * rows + 6;
  const whole = { from: 0, to: END };
  if (!mapImage || mapImage.of !== w) {
    const c = size(minimap, w, h);
    for (let head = 0; head < rows; ++head) {
      const all = planned.heads[head];
      const parts = aggregated(all, whole, Math.floor(width), USE + D.filaments.length, 1e9);
      for (const { x: column, shares } of parts.columns) {
        let most = 0;
        for (let kind = 1; kind < shares.length; ++kind) if (shares[kind] > shares[most]) most = kind;
        c.fillStyle = most >= USE ? ink.filaments[most - USE] : ink.kinds[most];
        c.globalAlpha = most === 0 ? 0.35 : 1;
        c.fillRect(left + column, 3 + head * 8, 1, 7);
      }
    }
    mapImage = { of: w, image: c.getImageData(0, 0, minimap.width, minimap.height) };
  }
  const c = size(minimap, w, h);
  c.putImageData(mapImage.image, 0, 0);
  const a = left + view.from / END * width, b = left + view.to / END * width;
  c.fillStyle = ink.ground;
  c.globalAlpha = 0.6;
  c.fillRect(left, 0, a - left, h);
  c.fillRect(b, 0, left + width - b, h);
  c.globalAlpha = 1;
  c.strokeStyle = ink.mark;
  c.lineWidth = 2;
  c.strokeRect(a, 1, Math.max(b - a, 3), h - 2);
  minimap.setAttribute('aria-valuenow', String(Math.round((view.from + view.to) / 2 / END * 100)));
  minimap.setAttribute('aria-valuetext', `${when(view.from)} to ${when(view.to)}`);
}

// ---- what a place says

function line(term, text) {
  return element('div', {}, element('dt', {}, term), element('dd', {}, text));
}

function gapFacts(i) {
  const out = [line('from', when(G.from_s[i])), line('to', when(G.to_s[i])), line('parked for', lasting(G.to_s[i] - G.from_s[i])),
    line('treatment', G.treatment[i]), line('lowest', `${Math.round(G.dip_c[i])} °C`),
    line('hot idle', lasting(G.hot_idle_s[i]))];
  if (G.preheat_at_s[i] !== null) out.push(line('preheat', when(G.preheat_at_s[i])));
  out.push(line('wait', G.wait_s[i] > 0.05 ? lasting(G.wait_s[i]) : 'none'));
  if (G.reason[i]) out.push(line('reason', G.reason[i]));
  return out;
}

function temperatureAt(stretches, t) {
  const { at, temp } = stretches;
  const i = Math.max(upper(at, t) - 1, 0);
  if (i + 1 >= at.length || at[i + 1] <= at[i]) return temp[i];
  return temp[i] + (temp[i + 1] - temp[i]) * Math.min((t - at[i]) / (at[i + 1] - at[i]), 1);
}

// The facts of a stretch; `t`: where in it.
function tell(found, t) {
  const { head, index, stretches, bandName } = found;
  const kind = stretches.kind[index];
  const name = kind >= USE ? `prints T${D.filaments[kind - USE].tool} ${D.filaments[kind - USE].name}`.trim()
    : KINDS[kind];
  const title = `${D.heads[head].name}${bandName ? `, ${bandName}` : ''}: ${name}`;
  const list = element('dl', {});
  list.append(line(t === null ? 'begins' : 'at', when(t === null ? stretches.from[index] : t)),
    line('lasts', lasting(stretches.to[index] - stretches.from[index])),
    line('heater', `${Math.round(temperatureAt(stretches, t === null ? stretches.from[index] : t))} °C`));
  const ref = stretches.ref[index];
  if (!bandName && kind < USE && ref >= 0) list.append(...gapFacts(ref));
  if (!bandName && kind >= USE && ref >= 0) {
    list.append(line('change', C.kind[ref]), line('line', String(C.line[ref])));
    if (C.exchange_s[ref] > 0) list.append(line('exchange', lasting(C.exchange_s[ref])));
  }
  facts.replaceChildren(element('h3', {}, title), list);
  if (!bandName && ref >= 0) {
    const table = kind < USE ? tables.gaps : tables.changes;
    const button = element('button', { type: 'button' }, 'show its row');
    button.addEventListener('click', () => table.show(ref));
    facts.append(button);
  }
}

function found(px, py) {
  const head = Math.floor((py - AXIS) / rowHeight());
  if (head < 0 || head >= D.heads.length || px < left || px > left + width) return null;
  const within = py - rowTop(head) - 8;
  const second = showSliced() && within > STRIP + 2 && within < 2 * STRIP + 6;
  const stretches = (second ? sliced : planned).heads[head];
  const t = secondsAt(px);
  let index = stretchAt(stretches, t);
  if (index < 0) return null;
  return { head, index, stretches, bandName: second ? 'as sliced' : '', top: rowTop(head) + 8 + (second ? STRIP + 4 : 0), t };
}

function choose(what, t) {
  chosen = what;
  if (what) tell(what, t === undefined ? null : t);
  redraw();
}

// ---- by hand

function look(next) {
  view = next;
  redraw();
}
const pointers = new Map();
let moved = 0, pinch = null;
const place = (event) => {
  const box = canvas.getBoundingClientRect();
  return { x: event.clientX - box.left, y: event.clientY - box.top };
};

canvas.addEventListener('wheel', (event) => {
  // The page scrolls as ever; with Ctrl, as a pinch on a touchpad gives, or sideways, the picture moves.
  const at = secondsAt(place(event).x);
  const sideways = Math.abs(event.deltaX) > Math.abs(event.deltaY) || event.shiftKey;
  event.preventDefault();
  const unit = event.deltaMode === 1 ? 16 : 1;
  if (sideways) look(panned(view, (event.deltaX || event.deltaY) * unit / width * (view.to - view.from), END));
  else look(zoomed(view, Math.exp(Math.max(Math.min(event.deltaY * unit, 240), -240) * 0.004), at, END));
}, { passive: false });

canvas.addEventListener('pointerdown', (event) => {
  canvas.setPointerCapture(event.pointerId);
  pointers.set(event.pointerId, place(event));
  moved = 0;
  if (pointers.size === 2) {
    const [a, b] = [...pointers.values()];
    pinch = { from: secondsAt(a.x), to: secondsAt(b.x) };
  }
});
canvas.addEventListener('pointermove', (event) => {
  const now = place(event), before = pointers.get(event.pointerId);
  if (!before) {
    const hit = found(now.x, now.y);
    if (hit && (!chosen || hit.index !== chosen.index || hit.stretches !== chosen.stretches)) choose(hit, hit.t);
    return;
  }
  pointers.set(event.pointerId, now);
  moved += Math.abs(now.x - before.x) + Math.abs(now.y - before.y);
  if (pointers.size === 1) {
    look(panned(view, (before.x - now.x) / width * (view.to - view.from), END));
  } else if (pinch) {
    // What is under each finger stays under it.
    const [a, b] = [...pointers.values()];
    if (Math.abs(a.x - b.x) < 8) return;
    const perPixel = (pinch.to - pinch.from) / (b.x - a.x);
    if (!(perPixel > 0)) return;
    const from = pinch.from - (a.x - left) * perPixel;
    look(clamped({ from, to: from + perPixel * width }, END));
  }
});
const lifted = (event) => {
  const at = pointers.get(event.pointerId);
  pointers.delete(event.pointerId);
  if (pointers.size < 2) pinch = null;
  if (event.type === 'pointerup' && at && moved < 6) {
    const hit = found(at.x, at.y);
    if (hit) choose(hit, hit.t);
  }
};
canvas.addEventListener('pointerup', lifted);
canvas.addEventListener('pointercancel', lifted);
canvas.addEventListener('dblclick', (event) => {
  const hit = found(place(event).x, place(event).y);
  if (hit) lookAt(hit.stretches.from[hit.index], hit.stretches.to[hit.index]);
});

// The stretch, with as much on either side.
function lookAt(from, to) {
  const span = Math.max(to - from, 1);
  look(clamped({ from: from - span, to: to + span }, END));
}

function step(by) {
  const head = chosen ? chosen.head : 0;
  const stretches = chosen ? chosen.stretches : planned.heads[head];
  let index = chosen ? chosen.index + by : Math.max(stretchAt(stretches, (view.from + view.to) / 2), 0);
  index = Math.min(Math.max(index, 0), stretches.from.length - 1);
  if (index < 0) return;
  const from = stretches.from[index], to = stretches.to[index];
  if (from < view.from || to > view.to) {
    const span = Math.max(view.to - view.from, Math.min(to - from, END));
    const middle = (from + to) / 2;
    view = clamped({ from: middle - span / 2, to: middle + span / 2 }, END);
  }
  choose({ head, index, stretches, bandName: chosen ? chosen.bandName : '', top: chosen ? chosen.top : rowTop(head) + 8 });
}

function row(by) {
  const head = Math.min(Math.max((chosen ? chosen.head : 0) + (chosen ? by : 0), 0), D.heads.length - 1);
  const stretches = planned.heads[head];
  const t = chosen ? (Math.max(chosen.stretches.from[chosen.index], view.from) + Math.min(chosen.stretches.to[chosen.index], view.to)) / 2
    : (view.from + view.to) / 2;
  const index = stretchAt(stretches, t);
  if (index >= 0) choose({ head, index, stretches, bandName: '', top: rowTop(head) + 8 });
}

const KEYS = {
  ArrowLeft: () => look(panned(view, -(view.to - view.from) / 8, END)),
  ArrowRight: () => look(panned(view, (view.to - view.from) / 8, END)),
  ArrowUp: () => row(-1),
  ArrowDown: () => row(1),
  '+': () => look(zoomed(view, 0.6, (view.from + view.to) / 2, END)),
  '=': () => KEYS['+'](),
  '-': () => look(zoomed(view, 1 / 0.6, (view.from + view.to) / 2, END)),
  '−': () => KEYS['-'](),
  0: () => look({ from: 0, to: END }),
  Home: () => look(panned(view, -END, END)),
  End: () => look(panned(view, END, END)),
  '.': () => step(1),
  ',': () => step(-1),
  Enter: () => { if (chosen && facts.querySelector('button')) facts.querySelector('button').click(); },
};
function byKey(event) {
  if (event.ctrlKey || event.metaKey || event.altKey || !KEYS[event.key]) return;
  event.preventDefault();
  KEYS[event.key]();
}
canvas.addEventListener('keydown', byKey);
minimap.addEventListener('keydown', byKey);
let dragging = false;
const goTo = (event) => {
  const px = event.clientX - minimap.getBoundingClientRect().left;
  const middle = (px - left) / width * END, span = view.to - view.from;
  look(clamped({ from: middle - span / 2, to: middle + span / 2 }, END));
};
minimap.addEventListener('pointerdown', (event) => { dragging = true; minimap.setPointerCapture(event.pointerId); goTo(event); });
minimap.addEventListener('pointermove', (event) => { if (dragging) goTo(event); });
minimap.addEventListener('pointerup', () => { dragging = false; });
for (const [id, key] of [['in', '+'], ['out', '-'], ['all', '0']]) $(id).addEventListener('click', () => KEYS[key]());
$('sliced').addEventListener('change', () => { state.sliced = $('sliced').checked ? '1' : ''; redraw(); });

// ---- tables: only the rows that are seen are in the tree

class Rows {
  constructor(id, data, columns, sums, jump) {
    this.box = $(id);
    this.id = id;
    this.data = data;
    this.count = data[columns[0].key].length;
    this.columns = columns;
    this.sums = sums;
    this.jump = jump;
    this.wanted = {};
    this.order = { key: '', down: false };
    this.build();
    this.refresh();
  }

  build() {
    this.box.replaceChildren();
    const filters = element('div', { class: 'filters' });
    for (const column of this.columns) {
      if (column.choices) {
        const select = element('select', { id: `${this.id}-${column.key}` }, element('option', { value: '' }, 'all'));
        for (const value of [...new Set(this.data[column.key])].sort((a, b) => (a < b ? -1 : 1))) {
          select.append(element('option', { value: String(value) }, column.show ? column.show(value) : String(value)));
        }
        select.addEventListener('change', () => this.want(column.key, select.value));
        filters.append(element('label', {}, `${column.name} `, select));
      } else if (column.least) {
        const input = element('input', { id: `${this.id}-${column.key}`, type: 'number', min: '0', step: 'any' });
        input.addEventListener('input', () => this.want(column.key, input.value));
        filters.append(element('label', {}, `${column.name} at least `, input));
      }
    }
    const seen = element('input', { type: 'checkbox', id: `${this.id}-seen` });
    seen.addEventListener('change', () => { this.within = seen.checked; this.refresh(); });
    filters.append(element('label', {}, seen, ' only what the picture shows'));
    this.link = element('a', { download: `${this.id}.csv`, href: '#' }, 'CSV of these rows');
    this.link.addEventListener('click', () => {
      this.link.href = `data:text/csv;charset=utf-8,${encodeURIComponent(csvOf(this.columns.map((c) => c.key), this.data, this.rows))}`;
    });
    filters.append(this.link);
    const head = element('tr', { 'aria-rowindex': '1' });
    for (const column of this.columns) {
      const button = element('button', { type: 'button' }, column.name);
      button.addEventListener('click', () => this.sortBy(column.key));
      head.append(element('th', { scope: 'col', class: column.number ? 'n' : '', 'data-key': column.key }, button));
    }
    this.body = element('tbody', {});
    this.table = element('table', { 'aria-label': this.box.getAttribute('data-name') }, element('thead', {}, head), this.body);
    this.frame = element('div', { class: 'rows', tabindex: '0', role: 'region', 'aria-label': `${this.box.getAttribute('data-name')}: rows` }, this.table);
    this.frame.addEventListener('scroll', () => this.fill());
    this.total = element('p', { class: 'total', role: 'status' });
    this.box.append(filters, this.total, this.frame);
  }

  want(key, value) {
    const column = this.columns.find((c) => c.key === key);
    if (column.choices) this.wanted[key] = value === '' ? null : new Set([typeof this.data[key][0] === 'number' ? +value : value]);
    else this.wanted[key] = value === '' ? null : { least: +value };
    state[`${this.id}.${key}`] = value;
    keep();
    this.refresh();
  }

  sortBy(key) {
    this.order = { key, down: this.order.key === key && !this.order.down };
    state[`${this.id}.sort`] = (this.order.down ? '-' : '') + key;
    keep();
    this.refresh();
  }

  refresh() {
    const wanted = { ...this.wanted };
    if (this.within) {
      const at = this.data.from_s || this.data.at_s;
      this.rows = filtered(this.data, this.count, wanted).filter((i) => (this.data.to_s || at)[i] >= view.from && at[i] <= view.to);
    } else {
      this.rows = filtered(this.data, this.count, wanted);
    }
    if (this.order.key) this.rows = sorted(this.rows, this.data[this.order.key], this.order.down);
    for (const th of this.table.querySelectorAll('th')) {
      const on = th.getAttribute('data-key') === this.order.key;
      if (on) th.setAttribute('aria-sort', this.order.down ? 'descending' : 'ascending'); else th.removeAttribute('aria-sort');
    }
    const sums = this.sums.map(([key, words]) => `${lasting(sum(this.rows, this.data[key]))} ${words}`);
    this.total.textContent = [`${this.rows.length} of ${this.count} rows`, ...sums].join(', ');
    this.table.setAttribute('aria-rowcount', String(this.rows.length + 1));
    this.first = -1;
    this.fill();
  }

  fill() {
    const tall = 29, shown = Math.ceil(this.frame.clientHeight / tall) + 12;
    const first = Math.max(Math.floor(this.frame.scrollTop / tall) - 6, 0);
    if (first === this.first) return;
    this.first = first;
    const last = Math.min(first + shown, this.rows.length);
    const filler = (n) => element('tr', { class: 'filler', 'aria-hidden': 'true' }, element('td', { colspan: String(this.columns.length), height: String(n * tall) }));
    const rows = [];
    if (first > 0) rows.push(filler(first));
    for (let k = first; k < last; ++k) {
      const i = this.rows[k];
      const tr = element('tr', { 'aria-rowindex': String(k + 2), 'data-row': String(i), class: i === this.marked ? 'marked' : '' });
      this.columns.forEach((column, n) => {
        const value = this.data[column.key][i];
        const text = value === null || value === undefined ? '' : column.show ? column.show(value) : String(value);
        if (n > 0) {
          tr.append(element('td', { class: column.number ? 'n' : 't' }, text));
          return;
        }
        const button = element('button', { type: 'button' }, text);
        button.addEventListener('click', () => this.jump(i));
        tr.append(element('td', { class: column.number ? 'n' : 't' }, button));
      });
      rows.push(tr);
    }
    if (last < this.rows.length) rows.push(filler(this.rows.length - last));
    this.body.replaceChildren(...rows);
  }

  // Brings a row into sight, without filters where they hide it.
  show(i) {
    if (!this.rows.includes(i)) {
      this.wanted = {};
      this.within = false;
      this.build();
      this.refresh();
    }
    this.marked = i;
    this.box.scrollIntoView({ block: 'nearest' });
    this.frame.scrollTop = Math.max(this.rows.indexOf(i) * 29 - 60, 0);
    this.first = -1;
    this.fill();
    const tr = this.body.querySelector(`[data-row="${i}"] button`);
    if (tr) tr.focus({ preventScroll: true });
  }

  // As the fragment says.
  restore() {
    for (const column of this.columns) {
      const value = state[`${this.id}.${column.key}`], input = $(`${this.id}-${column.key}`);
      if (value === undefined || !input) continue;
      input.value = value;
      this.want(column.key, value);
    }
    const order = state[`${this.id}.sort`];
    if (order && this.data[order.replace(/^-/, '')]) {
      this.order = { key: order.replace(/^-/, ''), down: order[0] === '-' };
      this.refresh();
    }
  }
}

const headName = (h) => (h < 0 || h >= D.heads.length ? '' : D.heads[h].name);
const tool = (t) => (t < 0 ? '' : `T${t}`);
const degrees = (c) => `${Math.round(c)} °C`;
function jumpTo(head, from, to) {
  const stretches = planned.heads[head];
  lookAt(from, to);
  if (!stretches) return;
  const index = stretchAt(stretches, Math.min((from + to) / 2, END));
  canvas.scrollIntoView({ block: 'nearest' });
  if (index >= 0) choose({ head, index, stretches, bandName: '', top: rowTop(head) + 8 });
}

const tables = {
  gaps: new Rows('gaps', G, [
    { key: 'from_s', name: 'from', show: when },
    { key: 'to_s', name: 'to', show: when },
    { key: 'toolhead', name: 'toolhead', show: headName, choices: true },
    { key: 'treatment', name: 'treatment', choices: true },
    { key: 'dip_c', name: 'lowest', show: degrees, number: true },
    { key: 'preheat_at_s', name: 'preheat', show: when },
    { key: 'wait_s', name: 'wait', show: lasting, number: true, least: true },
    { key: 'hot_idle_s', name: 'hot idle', show: lasting, number: true, least: true },
    { key: 'reason', name: 'reason' },
  ], [['wait_s', 'of waiting'], ['hot_idle_s', 'of hot idle']], (i) => jumpTo(G.toolhead[i], G.from_s[i], G.to_s[i])),
  changes: new Rows('changes', C, [
    { key: 'at_s', name: 'at', show: when },
    { key: 'layer', name: 'layer', number: true },
    { key: 'line', name: 'line', number: true },
    { key: 'kind', name: 'kind', choices: true },
    { key: 'toolhead', name: 'toolhead', show: headName, choices: true },
    { key: 'from_tool', name: 'from', show: tool },
    { key: 'to_tool', name: 'to', show: tool, choices: true },
    { key: 'exchange_s', name: 'exchange', show: lasting, number: true },
    { key: 'wait_s', name: 'wait', show: lasting, number: true, least: true },
  ], [['exchange_s', 'of exchanges'], ['wait_s', 'of waiting']], (i) => jumpTo(C.toolhead[i], C.at_s[i], C.at_s[i] + 60)),
};

// ---- begin

const fresh = () => { readColours(); mapImage = null; redraw(); };
document.documentElement.classList.add('live');
$('sliced').checked = state.sliced === '1';
for (const table of Object.values(tables)) table.restore();
for (const query of ['(prefers-color-scheme: dark)', '(forced-colors: active)']) {
  matchMedia(query).addEventListener('change', fresh);
}
addEventListener('resize', fresh);
addEventListener('hashchange', () => {
  Object.assign(state, stateOf(location.hash));
  view = placeOf(state.place, END) || { from: 0, to: END };
  redraw();
});
readColours();
draw();
