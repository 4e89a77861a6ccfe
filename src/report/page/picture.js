// The picture: for each toolhead a row with its changes, a lane for each filament, what its heater
// does while it is parked, and its temperature; under them heating power and layers.
'use strict';

const canvas = $('picture');
const minimap = $('minimap');
const AXIS = 40,
  TICKS = 18,
  STRIP = 14,
  PLOT = 54,
  BETWEEN = 18,
  POWER = 46,
  LAYERS = 18;
let left = 150,
  right = 950,
  width = 800,
  height = 400,
  dirty = 0,
  map = null,
  seen = view,
  rows = [];

// ---- colours come from the style, so that dark and forced colours hold here, too

let ink = {};
// Pixels of the screen to one of ours.
let ratio = 1;
let patterns = [];
function readColours() {
  const style = getComputedStyle(document.documentElement);
  const get = (name) => style.getPropertyValue(`--${name}`).trim();
  ink = {};
  for (const name of ['sheet', 'ink', 'soft', 'rule', 'wait', 'away', 'mark', 'caution']) {
    ink[name] = get(name);
  }
  ink.kinds = KINDS.map(get);
  ink.filaments = D.filaments.map((f) => get(`filament-${f.look}`));
  patterns = [];
  map = null;
}

// Lines across a tile of 8 by 8, besides a dot (look 3) and nothing (look 0).
const RISING = [
  [-2, 6, 6, -2],
  [2, 10, 10, 2],
];
const FALLING = [
  [-2, 2, 6, 10],
  [2, -2, 10, 6],
];
const LEVEL = [[0, 4, 8, 4]];
const UPRIGHT = [[4, 0, 4, 8]];
const HATCHES = [
  [],
  RISING,
  FALLING,
  [],
  LEVEL,
  UPRIGHT,
  [...LEVEL, ...UPRIGHT],
  [...RISING, ...FALLING],
];

function hatch(context, f) {
  if (patterns[f]) return patterns[f];
  const tile = element('canvas');
  tile.width = tile.height = Math.round(8 * ratio);
  const c = tile.getContext('2d'),
    look = D.filaments[f].look;
  c.scale(tile.width / 8, tile.width / 8);
  fill(c, ink.filaments[f], 0, 0, 8, 8);
  c.strokeStyle = c.fillStyle = ink.sheet;
  c.globalAlpha = 0.6;
  c.lineWidth = 1.5;
  c.beginPath();
  for (const [x1, y1, x2, y2] of HATCHES[look]) {
    c.moveTo(x1, y1);
    c.lineTo(x2, y2);
  }
  c.stroke();
  c.beginPath();
  if (look === 3) c.arc(4, 4, 1.5, 0, 7);
  c.fill();
  patterns[f] = context.createPattern(tile, 'repeat');
  patterns[f].setTransform(new DOMMatrix().scale(8 / tile.width));
  return patterns[f];
}

// ---- where things are

const x = (s) => left + ((s - seen.from) / spanOf(seen)) * width;
const secondsAt = (px) => seen.from + ((px - left) / width) * spanOf(seen);

function layOut(whole) {
  left = whole < 600 ? 66 : 150;
  width = Math.max(Math.floor(whole - left - 10), 50);
  right = left + width;
  rows = [];
  let y = AXIS;
  for (const head of heads) {
    const n = Math.max(head.filaments.length, 1);
    const tall = n === 1 ? 18 : n < 7 ? 14 : 12;
    const bandAt = (lanes) => ({ lanes, tall, strip: lanes + n * tall + 3 });
    const row = { top: y, ...bandAt(y + TICKS + 10) };
    row.plot = row.strip + STRIP + 8;
    if (showSliced()) {
      row.second = bandAt(row.plot + 12);
      row.plot = row.second.strip + STRIP + 8;
    }
    row.bottom = row.plot + PLOT;
    rows.push(row);
    y = row.bottom + BETWEEN;
  }
  height = y + POWER + 16 + LAYERS + 12;
}
const powerTop = () => height - POWER - 28 - LAYERS;
const layersTop = () => height - LAYERS - 12;

function size(target, w, h) {
  ratio = devicePixelRatio || 1;
  const across = Math.round(w * ratio),
    down = Math.round(h * ratio);
  if (target.width !== across) target.width = across;
  if (target.height !== down) target.height = down;
  if (target.style.height !== `${h}px`) target.style.height = `${h}px`;
  const c = target.getContext('2d');
  c.setTransform(ratio, 0, 0, ratio, 0, 0);
  c.clearRect(0, 0, w, h);
  c.textBaseline = 'middle';
  return c;
}

// Text that has to fit; what does not has an ellipsis for its middle, as names often differ at the
// end.
function fitted(c, text, most) {
  let n = text.length,
    out = text;
  while (n > 2 && c.measureText(out).width > most)
    out = `${text.slice(0, --n / 2)}…${text.slice(-n / 2)}`;
  return out;
}
function write(c, text, px, py, align, colour, points, weight) {
  c.font = `${weight || 400} ${points || 12}px system-ui, "DejaVu Sans", sans-serif`;
  c.textAlign = align;
  c.fillStyle = colour;
  c.fillText(align === 'center' ? text : fitted(c, text, left - 12), px, py);
}
function fill(c, colour, a, top, wide, tall) {
  c.fillStyle = colour;
  c.fillRect(a, top, wide, tall);
}
function rule(c, x1, y1, x2, y2, colour, wide, dashes) {
  c.strokeStyle = colour;
  c.lineWidth = wide || 1;
  c.setLineDash(dashes || []);
  c.beginPath();
  c.moveTo(x1, y1);
  c.lineTo(x2, y2);
  c.stroke();
  c.setLineDash([]);
}
function within(c, draws) {
  c.save();
  c.beginPath();
  c.rect(left, 0, width, height);
  c.clip();
  draws();
  c.restore();
}

// ---- axis

function drawAxis(c, bottom) {
  const step = axisStep(spanOf(seen), Math.max(width / 84, 2));
  const origin = CLOCK === null ? 0 : -(((CLOCK % DAY_S) + DAY_S) % DAY_S);
  // Without a start no hours are away.
  for (const [a, b] of awayStretches(D.away, CLOCK, seen.from, seen.to)) {
    fill(c, ink.away, x(a), AXIS - 8, x(b) - x(a), bottom - AXIS + 8);
    for (const t of [a, b]) rule(c, x(t), AXIS, x(t), bottom, ink.rule, 1, [2, 4]);
    if (x(b) - x(a) > 40)
      write(c, 'away', (x(a) + x(b)) / 2, powerTop() - 9, 'center', ink.soft, 11);
  }
  let shownDay = '',
    lastRight = -Infinity;
  // Its letters are those that are measured.
  write(c, '', 0, 0, 'left', ink.soft);
  for (const t of axisTicks(seen, step, origin)) {
    const at = Math.round(x(t)) + 0.5;
    let text = jobTime(t, step < 1);
    rule(c, at, AXIS - 8, at, bottom, ink.rule);
    if (CLOCK !== null) {
      const parts = clockParts(CLOCK + t);
      text = step < 60 ? `${parts.time}:${parts.seconds}` : parts.time;
      if (parts.day !== shownDay) {
        shownDay = parts.day;
        const half = c.measureText(parts.day).width / 2,
          middle = inside(at, left + half, right - half);
        if (middle - half > lastRight + 8) {
          write(c, parts.day, middle, 9, 'center', ink.ink);
          lastRight = middle + half;
        }
      }
    }
    const half = c.measureText(text).width / 2;
    write(c, text, inside(at, left + half, right - half), 24, 'center', ink.soft);
  }
  if (DONE < seen.to) {
    rule(c, x(DONE), AXIS - 8, x(DONE), bottom, ink.soft, 1, [2, 3]);
    if (x(DONE) < right - 30) write(c, 'end', x(DONE) + 14, powerTop() + 4, 'center', ink.soft, 11);
  }
  if (CLOCK === null) {
    write(c, 'time from the start, h:min:s', (left + right) / 2, 9, 'center', ink.soft);
    return;
  }
  write(
    c,
    `${left > 100 ? 'clock, ' : ''}h:min${step < 60 ? ':s' : ''}`,
    4,
    24,
    'left',
    ink.soft,
    11,
  );
  for (const t of axisTicks(seen, DAY_S, origin)) rule(c, x(t), AXIS - 8, x(t), bottom, ink.soft);
}

// ---- toolheads

// Bars in pixel columns that stand on `bottom`; neighbours of one height are one bar.
function columns(c, heightOf, bottom) {
  let from = 0,
    tall = 0;
  for (let column = 0; column <= width; ++column) {
    const now = column < width ? heightOf(column) : -1;
    if (now === tall) continue;
    if (tall > 0) c.fillRect(left + from, bottom - tall, column - from, tall);
    from = column;
    tall = now;
  }
}
// A share as pixels: what is there at all is seen.
const shown = (share, tall) =>
  share > 0.001 ? Math.max(Math.round(share * tall * ratio) / ratio, 1) : 0;

// Of kinds: the hotter, the higher; the last, heating, is a ramp.
const heights = [2, 6, 10, STRIP];
function drawParked(c, kind, a, b, bottom) {
  c.fillStyle = ink.kinds[kind];
  if (kind !== 3) {
    c.fillRect(a, bottom - heights[kind], b - a, heights[kind]);
    return;
  }
  c.beginPath();
  c.moveTo(a, bottom);
  c.lineTo(b, bottom);
  c.lineTo(b, bottom - STRIP);
  c.fill();
}
function drawLetter(c, f, a, b, top, tall) {
  const letter = D.filaments[f].letter,
    from = Math.max(a, left),
    to = Math.min(b, right);
  if (to - from < 26 || tall < 12) return;
  fill(
    c,
    ink.sheet,
    (from + to) / 2 - 5 - 3 * letter.length,
    top + 1,
    10 + 6 * letter.length,
    tall - 2,
  );
  write(c, letter, (from + to) / 2, top + tall / 2 + 1, 'center', ink.ink, 11, 700);
}

// In the picture or a little beyond.
const edge = (s) => inside(x(s), left - 9, right + 9);
let scratch = null;
function drawBand(c, h, all, row) {
  const bottom = row.strip + STRIP;
  const { whole, shares } = aggregated(all, seen, width, ALL, 3, scratch);
  scratch = shares;
  const lanes = heads[h].filaments;
  lanes.forEach((f, lane) => {
    c.fillStyle = ink.filaments[f];
    const share = (column) => shown(shares[column * ALL + USE + f], row.tall - 1);
    columns(c, share, row.lanes + (lane + 1) * row.tall - 1);
  });
  for (let kind = 0; kind < USE; ++kind) {
    c.fillStyle = ink.kinds[kind];
    // As high as it and all hotter ones: those come before it.
    columns(
      c,
      (column) => {
        let share = 0;
        for (let k = kind; k < USE; ++k) share += shares[column * ALL + k];
        return shown(shares[column * ALL + kind] > 0.001 ? share : 0, STRIP);
      },
      bottom,
    );
  }
  for (const i of whole) {
    const a = edge(all.from[i]),
      b = edge(all.to[i]);
    const f = all.kind[i] - USE,
      top = row.lanes + lanes.indexOf(f) * row.tall;
    if (f < 0) {
      drawParked(c, all.kind[i], a, b, bottom);
      continue;
    }
    fill(c, hatch(c, f), a, top, b - a, row.tall - 1);
    drawLetter(c, f, a, b, top, row.tall);
  }
  drawStops(c, all.waits, ink.wait, row.lanes - 9, 4);
  drawStops(c, all.sequences, ink.soft, row.lanes - 4, 3);
}

function drawStops(c, stops, colour, top, tall) {
  const parts = aggregated(stops, seen, width, 1, 2);
  c.fillStyle = colour;
  columns(c, (column) => (parts.shares[column] > 0 ? tall : 0), top + tall);
  for (const i of parts.whole)
    c.fillRect(x(stops.from[i]), top, x(stops.to[i]) - x(stops.from[i]), tall);
}

// A change of toolhead is a line, of filament a diamond, filled where a feeder exchanges it, of both
// a diamond on a line; one that changes nothing is a dot. Where they come too close, a bar says how
// many, and how many of them are exchanges.
function drawTick(c, i, at, top) {
  const middle = top + 8,
    kind = C.kind[i];
  if (kind === 'redundant') {
    c.fillStyle = ink.soft;
    c.beginPath();
    c.arc(at, middle, 2, 0, 7);
    c.fill();
    return;
  }
  if (kind !== 'filament') {
    fill(c, ink.soft, Math.round(at) - 1, top + 1, 2, 14);
  }
  if (kind === 'toolhead' || kind === 'first') return;
  c.fillStyle = C.exchange_s[i] > 0 ? ink.mark : ink.sheet;
  c.strokeStyle = ink.mark;
  c.lineWidth = 1.5;
  c.beginPath();
  c.moveTo(at, middle - 5);
  c.lineTo(at + 5, middle);
  c.lineTo(at, middle + 5);
  c.lineTo(at - 5, middle);
  c.closePath();
  c.fill();
  c.stroke();
}
const slot = () => (spanOf(seen) / width) * 8;
function drawTicks(c, head, top) {
  const groups = grouped(head.changesAt, seen, slot());
  const most = groups.reduce((n, [a, b]) => Math.max(n, b - a), 2);
  for (const [a, b] of groups) {
    if (b - a === 1) {
      drawTick(c, head.changes[a], x(head.changesAt[a]), top);
      continue;
    }
    const exchanges = head.changes.slice(a, b).filter((i) => C.exchange_s[i] > 0).length;
    const at = Math.round(x(Math.floor(head.changesAt[a] / slot()) * slot())),
      pixel = 15 / most;
    fill(c, ink.soft, at + 1, top + 16 - (b - a) * pixel, 6, (b - a) * pixel);
    fill(c, ink.mark, at + 1, top + 16 - exchanges * pixel, 6, exchanges * pixel);
  }
}

function drawLine(c, all, y, colour, dashes) {
  const begins = Math.max(upper(all.at, seen.from) - 1, 0),
    ends = upper(all.at, seen.to);
  if (ends - begins > width) {
    c.fillStyle = colour;
    // Neighbours that are alike are one.
    let from = 0,
      to = 0,
      top = 0,
      bottom = 0;
    for (const e of envelope(all.at, all.temp, seen, width)) {
      const above = Math.round(y(e.high) - 0.75),
        below = Math.round(y(e.low) + 0.75);
      if (e.x !== to || above !== top || below !== bottom) {
        c.fillRect(left + from, top, to - from, bottom - top);
        [from, top, bottom] = [e.x, above, below];
      }
      to = e.x + 1;
    }
    c.fillRect(left + from, top, to - from, bottom - top);
    return;
  }
  c.strokeStyle = colour;
  c.lineWidth = 1.5;
  c.setLineDash(dashes);
  c.beginPath();
  for (let i = begins; i <= Math.min(ends, all.at.length - 1); ++i)
    c.lineTo(x(all.at[i]), y(all.temp[i]));
  c.stroke();
  c.setLineDash([]);
}

function drawPlot(c, h) {
  const head = heads[h],
    top = rows[h].plot,
    wide = left > 100;
  const y = (t) => top + PLOT - inside(t / head.scale_c, 0, 1) * PLOT;
  rule(c, left, top + PLOT + 0.5, right, top + PLOT + 0.5, ink.rule);
  let last = -Infinity;
  for (const [low, high, name] of [
    [head.work_low_c, head.work_c, 'working '],
    [head.standby_c, head.standby_high_c, 'standby '],
    [0, 0, ''],
  ]) {
    if (high === null) continue;
    for (const t of high ? [low, high] : []) rule(c, left, y(t), right, y(t), ink.soft, 1, [1, 3]);
    last = Math.max(y(high) - 2, last + 13);
    const range = low < high && wide ? `${low}–${high}` : high;
    write(c, `${wide ? name : ''}${range} °C`, left - 6, last, 'right', ink.soft, 11);
  }
  within(c, () => {
    if (rows[h].second) drawLine(c, sliced.heads[h], y, ink.soft, [4, 3]);
    drawLine(c, planned.heads[h], y, ink.ink, []);
  });
}

function drawLabels(c, h, band, parked) {
  heads[h].filaments.forEach((f, lane) => {
    const { letter, tool: t, name } = D.filaments[f],
      at = band.lanes + (lane + 0.5) * band.tall;
    if (band.tall < 12) return;
    write(
      c,
      left > 100 ? `${letter} ${name || tool(t)}` : letter,
      left - 6,
      at,
      'right',
      ink.ink,
      11,
    );
  });
  write(c, parked, left - 6, band.strip + STRIP / 2 + 1, 'right', ink.soft, 11);
}

// ---- heating power, layers

function drawPower(c) {
  if (!(mostWatts > 0)) return;
  const top = powerTop(),
    y = (w) => top + POWER - (w / mostWatts / 1.1) * POWER;
  write(c, left > 100 ? 'heating power' : 'power', 4, top - 7, 'left', ink.ink, 12, 600);
  let last = Infinity;
  for (const w of [0, D.limit_w || 0, mostWatts]) {
    const at = Math.min(y(w), top + POWER - 3);
    if (last - at < 11) continue;
    last = at;
    write(c, `${Math.round(w)} W`, left - 6, at, 'right', ink.soft, 11);
  }
  rule(c, left, top + POWER + 0.5, right, top + POWER + 0.5, ink.rule);
  const most = highest(planned.at, planned.watts, seen, width);
  c.fillStyle = ink.kinds[3];
  columns(c, (column) => top + POWER - y(most[column]), top + POWER);
  if (D.limit_w) rule(c, left, y(D.limit_w), right, y(D.limit_w), ink.caution, 2, [8, 3]);
}

function drawLayers(c) {
  if (layers.length === 0) return;
  const top = layersTop();
  write(c, 'layers', 4, top + LAYERS / 2, 'left', ink.ink, 12, 600);
  const first = Math.max(upper(layers, seen.from) - 1, 0),
    last = upper(layers, seen.to);
  let every = 1;
  while ((width / Math.max(last - first, 1)) * every < 30)
    every *= String(every)[0] === '2' ? 2.5 : 2;
  within(c, () => {
    for (let i = first - (first % every); i < last; i += every) {
      const a = x(layers[i]),
        b = x(i + every < layers.length ? layers[i + every] : DONE);
      rule(c, a, top, a, top + LAYERS, ink.soft);
      const text = String(i + 1),
        from = Math.max(a, left);
      if (Math.min(b, right) - from > 10 + 7 * text.length) {
        write(c, text, from + 4, top + LAYERS / 2, 'left', ink.ink, 11);
      }
    }
  });
  c.strokeStyle = ink.rule;
  c.lineWidth = 1;
  c.strokeRect(left + 0.5, top + 0.5, width - 1, LAYERS - 1);
}

// ---- together

function drawChosen(c) {
  const stretch = picked && picked.all;
  if (!stretch) return;
  const a = Math.max(x(stretch.from[picked.index]), left);
  const b = Math.min(x(stretch.to[picked.index]), right);
  if (b < left || a > right) return;
  const { top, tall } = placeOfPicked(picked) || { tall: 0 };
  if (!tall) return;
  c.strokeStyle = ink.mark;
  c.lineWidth = 2;
  c.strokeRect(a - 2, top - 2, Math.max(b - a, 2) + 4, tall + 4);
}

function draw() {
  dirty = 0;
  layOut(canvas.clientWidth);
  // On a grid of columns that stays where it is, so that nothing flickers when the view moves.
  const perPixel = spanOf(view) / width,
    from = Math.round(view.from / perPixel) * perPixel;
  seen = { from, to: from + perPixel * width };
  const c = size(canvas, canvas.clientWidth, height);
  drawAxis(c, height - 12);
  heads.forEach((_, h) => {
    const row = rows[h];
    write(c, heads[h].name, 4, row.top + 9, 'left', ink.ink, 13, 600);
    drawLabels(c, h, row, 'parked');
    within(c, () => {
      drawTicks(c, heads[h], row.top);
      drawBand(c, h, planned.heads[h], row);
      if (row.second) drawBand(c, h, sliced.heads[h], row.second);
    });
    if (row.second) drawLabels(c, h, row.second, 'as sliced');
    drawPlot(c, h);
  });
  drawPower(c);
  drawLayers(c);
  drawChosen(c);
  drawMinimap();
}

function redraw() {
  keep();
  if (!dirty) dirty = requestAnimationFrame(draw);
}

// The whole job, drawn once, and a window over what is seen: how much of the time each is in use.
function wholeJob(h) {
  const out = element('canvas'),
    c = size(out, right, h);
  c.fillStyle = ink.soft;
  heads.forEach((_, n) => {
    const all = planned.heads[n],
      used = { ...all, kind: all.kind.map((kind) => (kind < USE ? 0 : 1)) };
    const { shares } = aggregated(used, { from: 0, to: END }, width, 2, Infinity);
    columns(c, (column) => shown(shares[column * 2 + 1], 8), 12 + n * 10);
  });
  return out;
}
function drawMinimap() {
  const w = minimap.clientWidth,
    h = 10 * heads.length + 6;
  if (!map || map.of !== w) map = { of: w, image: wholeJob(h) };
  const c = size(minimap, w, h);
  c.drawImage(map.image, 0, 0, right, h);
  write(c, 'whole job', left - 6, h / 2, 'right', ink.soft, 11);
  const a = left + (view.from / END) * width,
    b = left + (view.to / END) * width;
  c.fillStyle = ink.sheet;
  c.globalAlpha = 0.65;
  c.fillRect(left, 0, a - left, h);
  c.fillRect(b, 0, right - b, h);
  c.globalAlpha = 1;
  c.strokeStyle = ink.mark;
  c.lineWidth = 2;
  c.strokeRect(a - 1, 1, Math.max(b - a, 3) + 2, h - 2);
  const words = `${when(view.from)} to ${when(view.to)}`;
  const middle = String(Math.round(((view.from + view.to) / 2 / END) * 100));
  if (minimap.getAttribute('aria-valuetext') === words) return;
  minimap.setAttribute('aria-valuenow', middle);
  minimap.setAttribute('aria-valuetext', words);
  place.textContent = `Shown: ${words}, ${lasting(spanOf(view))} of ${lasting(END)}`;
}
