// What the page works out, apart from any document: scales, shares, searches, filters, sums.
// Pure functions of values; tests/page runs them under Node. Times are seconds of the plan's wall
// time, as everywhere in the data (config/page.schema.json).
'use strict';

const MINUTE_S = 60,
  HOUR_S = 3600,
  DAY_S = 86400;

// The first index of ascending `xs` whose value is over `x`; xs.length if none is.
function upper(xs, x) {
  let low = 0,
    high = xs.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (xs[middle] > x) high = middle;
    else low = middle + 1;
  }
  return low;
}

// Sums up differences: [5, 2, 3] is 5, 7, 10, each times `unit`.
function cumulated(deltas, unit) {
  const out = new Float64Array(deltas.length);
  let sum = 0;
  for (let i = 0; i < deltas.length; ++i) {
    sum += deltas[i];
    out[i] = sum * unit;
  }
  return out;
}

// A view is what is seen of [0, end]: { from, to }.
const NARROWEST_S = 2;

const inside = (x, least, most) => Math.min(Math.max(x, least), most);
const spanOf = (view) => view.to - view.from;

function clamped(view, end) {
  const span = inside(spanOf(view), Math.min(NARROWEST_S, end), end);
  const from = inside(view.from, 0, end - span);
  return { from, to: from + span };
}

// `factor` over 1 shows more time; what is at `at` stays where it is.
function zoomed(view, factor, at, end) {
  const span = inside(spanOf(view) * factor, Math.min(NARROWEST_S, end), end);
  const from = at - ((at - view.from) / spanOf(view)) * span;
  return clamped({ from, to: from + span }, end);
}

function panned(view, seconds, end) {
  return clamped({ from: view.from + seconds, to: view.to + seconds }, end);
}

// Steps of an axis that people count in.
const STEPS_S = [
  0.1,
  0.2,
  0.5,
  1,
  2,
  5,
  10,
  15,
  30,
  60,
  120,
  300,
  600,
  900,
  1800,
  HOUR_S,
  2 * HOUR_S,
  3 * HOUR_S,
  6 * HOUR_S,
  12 * HOUR_S,
  DAY_S,
  2 * DAY_S,
  4 * DAY_S,
];

// The smallest step of which no more than `most` fit into the span.
function axisStep(span, most) {
  for (const step of STEPS_S) {
    if (span / step <= most) return step;
  }
  return STEPS_S[STEPS_S.length - 1] * Math.ceil(span / most / STEPS_S[STEPS_S.length - 1]);
}

// Multiples of the step within the view, counted from `origin` (the midnight before the start).
function axisTicks(view, step, origin) {
  const out = [];
  const first = Math.ceil((view.from - origin) / step - 1e-9);
  for (let i = first; origin + i * step <= view.to + 1e-9; ++i) out.push(origin + i * step);
  return out;
}

const two = (n) => String(n).padStart(2, '0');

// "1:02:03", "0:02:03.4" where tenths are asked for.
function jobTime(s, tenths) {
  const sign = s < 0 ? '−' : '';
  const by = tenths ? 1 : 10,
    n = Math.round((Math.abs(s) * 10) / by) * by;
  const text = `${sign}${Math.floor(n / 36000)}:${two(Math.floor(n / 600) % 60)}:${two(Math.floor(n / 10) % 60)}`;
  return tenths ? `${text}.${n % 10}` : text;
}

// A length, as the report writes it: "43.5 s", "2 min 05 s", "3 h 12 min".
function lasting(s) {
  if (s < 59.95) return `${s > 0 ? s.toFixed(1) : 0} s`;
  const n = Math.round(s);
  if (n < HOUR_S) return `${Math.floor(n / 60)} min ${two(n % 60)} s`;
  const minutes = Math.round(n / 60);
  return `${Math.floor(minutes / 60)} h ${two(minutes % 60)} min`;
}

// Clock times are local and have no zone: counted in UTC so that no zone changes them.
function parseClock(text) {
  const m = /^(\d{4})-(\d\d)-(\d\d)[T ](\d\d):(\d\d)(?::(\d\d))?$/.exec(text || '');
  return m ? Date.UTC(+m[1], m[2] - 1, +m[3], +m[4], +m[5], +(m[6] || 0)) / 1000 : null;
}

const DAYS = ['Sun', 'Mon', 'Tue', 'Wed', 'Thu', 'Fri', 'Sat'];

function clockParts(s) {
  const at = new Date(Math.round(s) * 1000);
  return {
    day: `${DAYS[at.getUTCDay()]} ${at.getUTCFullYear()}-${two(at.getUTCMonth() + 1)}-${two(at.getUTCDate())}`,
    time: `${two(at.getUTCHours())}:${two(at.getUTCMinutes())}`,
    seconds: two(at.getUTCSeconds()),
  };
}

// The stretches of [from, to] that lie in hours of every day; away: [[first minute, last minute]],
// over midnight where the first is later. `start` is the clock time of 0.
function awayStretches(away, start, from, to) {
  const out = [];
  const firstDay = Math.floor((start + from) / DAY_S) - 1,
    lastDay = Math.floor((start + to) / DAY_S);
  for (let day = firstDay; day <= lastDay; ++day) {
    for (const [a, b] of away) {
      const begins = day * DAY_S + a * MINUTE_S - start;
      const ends = day * DAY_S + (b > a ? b : b + 1440) * MINUTE_S - start;
      if (ends > from && begins < to) out.push([Math.max(begins, from), Math.min(ends, to)]);
    }
  }
  out.sort((x, y) => x[0] - y[0]);
  const joined = [];
  for (const s of out) {
    const last = joined[joined.length - 1];
    if (last && s[0] <= last[1]) last[1] = Math.max(last[1], s[1]);
    else joined.push(s);
  }
  return joined;
}

// What a row shows at `width` pixels. Stretches: { from, to } ascending arrays that do not overlap,
// kind: an array of small numbers. A stretch of at least `least` pixels is drawn as itself; what is
// narrower is put together by pixel column: shares of each kind, honestly by time. The share of
// `kind` in `column` is shares[column * kinds + kind]; `into` is an array of that size to use again.
function aggregated(stretches, view, width, kinds, least, into) {
  const { from, to, kind } = stretches;
  const perPixel = spanOf(view) / width;
  const shares =
    into && into.length === width * kinds ? into.fill(0) : new Float64Array(width * kinds);
  const whole = [];
  for (let i = upper(to, view.from); i < from.length && from[i] < view.to; ++i) {
    if (to[i] - from[i] >= least * perPixel) {
      whole.push(i);
      continue;
    }
    const begins = (Math.max(from[i], view.from) - view.from) / perPixel;
    const ends = (Math.min(to[i], view.to) - view.from) / perPixel;
    const last = Math.min(Math.ceil(ends), width);
    for (let x = Math.floor(begins); x < last; ++x) {
      shares[x * kinds + kind[i]] += Math.min(ends, x + 1) - Math.max(begins, x);
    }
  }
  return { whole, shares };
}

// The most of steps in each pixel column: `value[i]` holds from `at[i]` on.
function highest(at, value, view, width) {
  const out = new Float64Array(width),
    perPixel = spanOf(view) / width;
  let i = upper(at, view.from) - 1;
  for (let x = 0; x < width; ++x) {
    const right = view.from + (x + 1) * perPixel;
    let most = i >= 0 ? value[i] : 0;
    while (i + 1 < at.length && at[i + 1] < right) most = Math.max(most, value[++i]);
    out[x] = most;
  }
  return out;
}

// Groups of ascending times that fall into one slot of `span` seconds, slots counted from 0, so that
// they stay what they are when the view moves: [first index, one after the last].
function grouped(at, view, span) {
  const out = [];
  let i = upper(at, Math.floor(view.from / span) * span - 1e-9);
  while (i < at.length && at[i] <= view.to + span) {
    const ends = (Math.floor(at[i] / span) + 1) * span,
      first = i;
    while (i < at.length && at[i] < ends) ++i;
    if (i === first) ++i;
    out.push([first, i]);
  }
  return out;
}

// What a line through points says at `t`; before the first point, as there.
function valueAt(at, value, t) {
  const i = Math.max(upper(at, t) - 1, 0);
  if (i + 1 >= at.length || t <= at[i] || at[i + 1] <= at[i]) return value[i];
  return value[i] + ((value[i + 1] - value[i]) * (t - at[i])) / (at[i + 1] - at[i]);
}

// The lowest and highest of a line in each pixel column: what a line through more points than pixels
// looks like. `at` ascending.
function envelope(at, value, view, width) {
  const out = [],
    perPixel = spanOf(view) / width;
  let i = upper(at, view.from),
    before = valueAt(at, value, view.from);
  for (let x = 0; x < width; ++x) {
    const right = view.from + (x + 1) * perPixel;
    const after = valueAt(at, value, right);
    let low = Math.min(before, after);
    let high = Math.max(before, after);
    for (; i < at.length && at[i] <= right; ++i) {
      if (value[i] < low) low = value[i];
      if (value[i] > high) high = value[i];
    }
    before = after;
    if (right >= at[0] && right - perPixel <= at[at.length - 1]) out.push({ x, low, high });
  }
  return out;
}

// Which stretch holds `t`; -1: none.
function stretchAt(stretches, t) {
  const i = upper(stretches.to, t);
  return i < stretches.from.length && stretches.from[i] <= t ? i : -1;
}

// Those of `rows` that are wanted. `columns`: name -> array; `wanted`: name -> a set of values, or
// { least, most }.
function filtered(columns, rows, wanted) {
  const tests = [];
  for (const [name, want] of Object.entries(wanted)) {
    const column = columns[name];
    if (!column || want == null) continue;
    if (want instanceof Set) {
      if (want.size > 0) tests.push((i) => want.has(column[i]));
      continue;
    }
    const { least = -Infinity, most = Infinity } = want;
    tests.push((i) => column[i] !== null && column[i] >= least && column[i] <= most);
  }
  return rows.filter((i) => tests.every((test) => test(i)));
}

// Sorted copy; nulls last, equal ones as they were.
function sorted(rows, column, down) {
  const sign = down ? -1 : 1;
  return [...rows].sort((a, b) => {
    const x = column[a],
      y = column[b];
    if (x === y) return a - b;
    if (x == null) return 1;
    if (y == null) return -1;
    return (x < y ? -1 : 1) * sign || a - b;
  });
}

function sum(rows, column) {
  let out = 0;
  for (const i of rows) out += column[i] || 0;
  return out;
}

// RFC 4180.
function csvField(x) {
  if (x == null) return '';
  const text = String(x);
  return /[",\r\n]/.test(text) ? `"${text.replace(/"/g, '""')}"` : text;
}

function csvOf(names, columns, rows) {
  const line = (fields) => fields.map(csvField).join(',') + '\r\n';
  return line(names) + rows.map((i) => line(names.map((name) => columns[name][i]))).join('');
}

// The fragment: place=from,to (seconds), pick=toolhead,number, sliced=1, and, by table, filters and
// sort: gaps.treatment=off&gaps.sort=-wait_s.
function fragmentOf(state) {
  const out = new URLSearchParams();
  for (const key of Object.keys(state).sort()) {
    const value = state[key];
    if (value != null && value !== '') out.set(key, String(value));
  }
  return out.toString();
}

function stateOf(fragment) {
  return Object.fromEntries(new URLSearchParams(fragment.replace(/^#/, '')));
}

function placeOf(text, end) {
  const m = /^(-?[\d.]+),(-?[\d.]+)$/.exec(text || '');
  if (!m || !(+m[2] > +m[1])) return null;
  return clamped({ from: +m[1], to: +m[2] }, end);
}
