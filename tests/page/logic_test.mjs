// The page's logic against naive versions of it. Usage: node --test logic_test.mjs
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import test from 'node:test';

const source = readFileSync(new URL('../../src/report/page/logic.js', import.meta.url), 'utf8');
const names = [...source.matchAll(/^(?:function|const) (\w+)/gm)].map((m) => m[1]);
const page = new Function(`${source}\nreturn { ${names.join(', ')} };`)();

// The same on every run: a linear congruential generator (Numerical Recipes, from memory).
function numbers(seed) {
  let state = seed >>> 0;
  return (most) => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return (state / 4294967296) * most;
  };
}
const near = (a, b, error = 1e-9) => assert.ok(Math.abs(a - b) <= error, `${a} is not ${b}`);
const times = (n, does) => Array.from({ length: n }, (_, i) => does(i));

function stretches(random, count, kinds, holes) {
  const out = { from: [], to: [], kind: [] };
  let now = random(5);
  for (let i = 0; i < count; ++i) {
    out.from.push(now);
    now += random(random(1) < 0.1 ? 400 : 8) + 0.01;
    out.to.push(now);
    out.kind.push(Math.floor(random(kinds)));
    if (holes && random(1) < 0.5) now += random(20);
  }
  return out;
}

test('upper is the first index whose value is over', () => {
  const random = numbers(1);
  for (let round = 0; round < 300; ++round) {
    const xs = times(Math.floor(random(12)), () => Math.floor(random(6))).sort((a, b) => a - b);
    const x = Math.floor(random(8)) - 1;
    const naive = xs.findIndex((y) => y > x);
    assert.equal(page.upper(xs, x), naive < 0 ? xs.length : naive);
  }
});

test('differences sum up', () => {
  assert.deepEqual([...page.cumulated([5, 2, 3], 2)], [10, 14, 20]);
  assert.deepEqual([...page.cumulated([], 1)], []);
});

test('views stay within the job, and no narrower than two seconds', () => {
  const random = numbers(2);
  for (let round = 0; round < 2000; ++round) {
    const end = random(1) < 0.1 ? random(3) + 0.1 : random(1e6) + 1;
    const view = page.clamped({ from: random(end * 2) - end / 2, to: random(end * 3) }, end);
    const next =
      random(1) < 0.5
        ? page.panned(view, random(end * 4) - end * 2, end)
        : page.zoomed(view, random(4) + 0.01, view.from + random(page.spanOf(view)), end);
    for (const seen of [view, next]) {
      assert.ok(seen.from >= 0 && seen.to <= end * (1 + 1e-12), JSON.stringify({ seen, end }));
      assert.ok(page.spanOf(seen) >= Math.min(2, end) * (1 - 1e-9), JSON.stringify({ seen, end }));
    }
  }
});

test('zooming leaves what is under the pointer where it is, and in and out is nothing', () => {
  const random = numbers(3);
  const view = { from: 4000, to: 6000 };
  for (let round = 0; round < 500; ++round) {
    const at = 4000 + random(2000);
    const factor = 0.3 + random(1.5);
    const next = page.zoomed(view, factor, at, 10000);
    near((at - next.from) / page.spanOf(next), (at - view.from) / page.spanOf(view));
    const back = page.zoomed(next, 1 / factor, at, 10000);
    near(back.from, view.from, 1e-6);
    near(back.to, view.to, 1e-6);
  }
});

test('panning at an end keeps the zoom', () => {
  assert.deepEqual(page.panned({ from: 10, to: 30 }, -1e9, 100), { from: 0, to: 20 });
  assert.deepEqual(page.panned({ from: 10, to: 30 }, 1e9, 100), { from: 80, to: 100 });
});

test('an axis has no more ticks than fit, at multiples of its step', () => {
  const random = numbers(4);
  for (let round = 0; round < 1000; ++round) {
    const span = Math.exp(random(18)) / 10;
    const most = 2 + random(20);
    const view = { from: random(1e5), to: 0 };
    view.to = view.from + span;
    const origin = -random(86400);
    const step = page.axisStep(span, most);
    const ticks = page.axisTicks(view, step, origin);
    assert.ok(ticks.length <= Math.ceil(most) + 1, `${ticks.length} ticks, ${most} fit`);
    for (const tick of ticks) {
      assert.ok(tick >= view.from - 1e-6 && tick <= view.to + 1e-6);
      near((tick - origin) / step, Math.round((tick - origin) / step), 1e-6);
    }
    assert.ok(ticks.length >= Math.floor(span / step), 'none is left out');
  }
});

test('times and lengths in words', () => {
  assert.equal(page.jobTime(3723.4), '1:02:03');
  assert.equal(page.jobTime(3723.46, true), '1:02:03.5');
  assert.equal(page.jobTime(59.96), '0:01:00');
  // As the tables of the report have it.
  assert.equal(page.jobTime(8904.7), '2:28:25');
  assert.equal(page.jobTime(8904.7, true), '2:28:24.7');
  assert.equal(page.jobTime(-5), '−0:00:05');
  assert.equal(page.jobTime(360000), '100:00:00');
  assert.equal(page.lasting(0), '0 s');
  assert.equal(page.lasting(9.94), '9.9 s');
  assert.equal(page.lasting(59.4), '59.4 s');
  assert.equal(page.lasting(59.96), '1 min 00 s');
  assert.equal(page.lasting(3599.6), '1 h 00 min');
  assert.equal(page.lasting(11550), '3 h 13 min');
});

test('clock times have no zone and know leap days', () => {
  const at = page.parseClock('2028-02-28T23:59:30');
  assert.deepEqual(page.clockParts(at), { day: 'Mon 2028-02-28', time: '23:59', seconds: '30' });
  assert.equal(page.clockParts(at + 30).day, 'Tue 2028-02-29');
  assert.equal(page.clockParts(page.parseClock('2027-03-05 18:00')).time, '18:00');
  for (const wrong of [null, '', 'soon', '2027-3-5T18:00', '2027-03-05T18:00Z']) {
    assert.equal(page.parseClock(wrong), null);
  }
});

test('hours away are those that a clock read minute by minute says', () => {
  const random = numbers(5);
  const start = page.parseClock('2026-05-01T18:00');
  for (let round = 0; round < 30; ++round) {
    const away = times(1 + Math.floor(random(3)), () => [
      Math.floor(random(1440)),
      Math.floor(random(1440)),
    ]).filter(([a, b]) => a !== b);
    const from = random(86400);
    const to = from + random(3 * 86400);
    const found = page.awayStretches(away, start, from, to);
    for (let i = 1; i < found.length; ++i) assert.ok(found[i][0] > found[i - 1][1]);
    for (let t = from + 1; t < to; t += 61) {
      const minute = Math.floor(((((start + t) % 86400) + 86400) % 86400) / 60);
      const naive = away.some(([a, b]) =>
        a < b ? minute >= a && minute < b : minute >= a || minute < b,
      );
      assert.equal(
        found.some(([a, b]) => t >= a && t < b),
        naive,
        `at ${t} of ${JSON.stringify(away)}`,
      );
    }
  }
});

test('what is put together has the shares of time that it has', () => {
  const random = numbers(6);
  for (let round = 0; round < 120; ++round) {
    const kinds = 1 + Math.floor(random(6));
    const all = stretches(random, Math.floor(random(200)), kinds, random(1) < 0.5);
    const end = (all.to[all.to.length - 1] || 10) + random(20);
    const from = random(end / 2);
    const view = { from, to: from + random(end - from) + 0.1 };
    const width = 1 + Math.floor(random(60));
    const least = random(1) < 0.3 ? Infinity : random(5);
    const { whole, shares } = page.aggregated(all, view, width, kinds, least);
    const perPixel = page.spanOf(view) / width;
    const naive = new Float64Array(width * kinds);
    const wholes = [];
    all.from.forEach((begins, i) => {
      if (all.to[i] <= view.from || begins >= view.to) return;
      if (all.to[i] - begins >= least * perPixel) {
        wholes.push(i);
        return;
      }
      for (let x = 0; x < width; ++x) {
        const left = view.from + x * perPixel;
        const seconds = Math.min(all.to[i], left + perPixel) - Math.max(begins, left);
        if (seconds > 0) naive[x * kinds + all.kind[i]] += seconds / perPixel;
      }
    });
    assert.deepEqual(whole, wholes);
    shares.forEach((share, i) => near(share, naive[i], 1e-6));
    for (let x = 0; x < width; ++x) {
      const total = shares.slice(x * kinds, (x + 1) * kinds).reduce((a, b) => a + b, 0);
      assert.ok(total <= 1 + 1e-6, `column ${x} is ${total} full`);
    }
  }
});

test('an array that is used again is emptied first', () => {
  const all = { from: [0], to: [4], kind: [0] };
  const first = page.aggregated(all, { from: 0, to: 8 }, 8, 1, Infinity);
  const again = page.aggregated(all, { from: 0, to: 8 }, 8, 1, Infinity, first.shares);
  assert.equal(again.shares, first.shares);
  assert.deepEqual([...again.shares], [1, 1, 1, 1, 0, 0, 0, 0]);
});

test('an envelope holds every point, and touches what it bounds', () => {
  const random = numbers(7);
  for (let round = 0; round < 100; ++round) {
    const at = [];
    let now = random(3);
    times(1 + Math.floor(random(300)), () => at.push((now += random(1) < 0.1 ? 0 : random(4))));
    const value = at.map(() => random(250));
    const view = { from: at[0] + random(20), to: 0 };
    view.to = view.from + random(now) + 1;
    const width = 1 + Math.floor(random(80));
    const perPixel = page.spanOf(view) / width;
    const out = new Map(page.envelope(at, value, view, width).map((e) => [e.x, e]));
    at.forEach((t, i) => {
      if (t < view.from || t > view.to) return;
      const x = Math.min(Math.ceil((t - view.from) / perPixel) - 1, width - 1);
      // A point on the edge of columns may be in either.
      const held = [x - 1, x, x + 1].some(
        (k) =>
          out.has(k) && out.get(k).low <= value[i] + 1e-9 && out.get(k).high >= value[i] - 1e-9,
      );
      assert.ok(held, `${value[i]} at ${t}`);
    });
    for (const { low, high } of out.values()) {
      assert.ok(
        low <= high && low >= Math.min(...value) - 1e-9 && high <= Math.max(...value) + 1e-9,
      );
    }
  }
});

test('a line is read between its points', () => {
  const at = [0, 10, 10, 20],
    value = [0, 100, 50, 60];
  for (const [t, v] of [
    [-5, 0],
    [0, 0],
    [5, 50],
    [9.9, 99],
    [10, 50],
    [15, 55],
    [20, 60],
    [99, 60],
  ]) {
    near(page.valueAt(at, value, t), v);
  }
});

test('the highest of steps in a column is the highest that is in force there', () => {
  const random = numbers(8);
  for (let round = 0; round < 100; ++round) {
    const at = [0];
    times(Math.floor(random(60)), () => at.push(at[at.length - 1] + 0.1 + random(5)));
    const value = at.map(() => Math.floor(random(4)) * 40);
    const view = { from: random(10), to: 20 + random(200) };
    const width = 1 + Math.floor(random(50));
    const perPixel = page.spanOf(view) / width;
    page.highest(at, value, view, width).forEach((most, x) => {
      const left = view.from + x * perPixel;
      const right = view.from + (x + 1) * perPixel;
      const naive = value.filter(
        (_, i) => at[i] < right && (i + 1 === at.length || at[i + 1] > left),
      );
      assert.equal(most, Math.max(0, ...naive));
    });
  }
});

test('groups hold each time once, and do not move with the view', () => {
  const random = numbers(9);
  for (let round = 0; round < 200; ++round) {
    const at = times(Math.floor(random(80)), () => random(1000)).sort((a, b) => a - b);
    const span = 0.5 + random(40);
    const view = { from: random(500), to: 0 };
    view.to = view.from + random(500) + 1;
    const groups = page.grouped(at, view, span);
    const inView = at.filter((t) => t >= view.from && t <= view.to);
    const held = groups.flatMap(([a, b]) => at.slice(a, b));
    assert.deepEqual(
      held,
      [...new Set(held)].sort((a, b) => a - b),
    );
    for (const t of inView) assert.ok(held.includes(t));
    for (const [a, b] of groups) {
      assert.ok(b > a);
      assert.equal(Math.floor(at[a] / span), Math.floor(at[b - 1] / span));
    }
  }
});

test('the stretch at a time', () => {
  const all = stretches(numbers(10), 100, 3, true);
  for (let t = 0; t < all.to[99] + 5; t += 0.37) {
    assert.equal(
      page.stretchAt(all, t),
      all.from.findIndex((from, i) => from <= t && t < all.to[i]),
    );
  }
});

test('filters and sorting, against naive ones', () => {
  const random = numbers(11);
  for (let round = 0; round < 100; ++round) {
    const count = Math.floor(random(60));
    const columns = {
      kind: times(count, () => ['off', 'hold', 'standby'][Math.floor(random(3))]),
      head: times(count, () => Math.floor(random(3))),
      wait: times(count, () => (random(1) < 0.2 ? null : Math.floor(random(5)))),
    };
    const rows = times(count, (i) => i).filter(() => random(1) < 0.8);
    const wanted = {
      kind: new Set(['off', 'hold']),
      head: new Set([1]),
      wait: { least: 2 },
      none: new Set([1]),
    };
    const naive = [];
    for (const i of rows) {
      if (columns.kind[i] === 'standby' || columns.head[i] !== 1) continue;
      if (columns.wait[i] !== null && columns.wait[i] >= 2) naive.push(i);
    }
    const found = page.filtered(columns, rows, wanted);
    assert.deepEqual(found, naive);
    assert.deepEqual(
      page.filtered(columns, rows, { kind: null, wait: undefined, head: new Set() }),
      rows,
    );
    near(
      page.sum(rows, columns.wait),
      rows.reduce((s, i) => s + (columns.wait[i] ?? 0), 0),
    );
    for (const down of [false, true]) {
      const before = [...rows];
      const order = page.sorted(rows, columns.wait, down);
      assert.deepEqual(rows, before);
      assert.deepEqual(
        [...order].sort((a, b) => a - b),
        [...rows].sort((a, b) => a - b),
      );
      for (let k = 1; k < order.length; ++k) {
        const [a, b] = [columns.wait[order[k - 1]], columns.wait[order[k]]];
        assert.ok(b === null || (a !== null && (down ? a >= b : a <= b)), 'in order, none last');
        if (a === b) assert.ok(order[k - 1] < order[k], 'equal ones as they were');
      }
    }
  }
});

// RFC 4180, read by hand.
function readCsv(text) {
  const out = [[]];
  let field = '',
    quoted = false;
  for (let i = 0; i < text.length; ++i) {
    const c = text[i];
    if (quoted && c === '"' && text[i + 1] === '"') {
      field += c;
      ++i;
    } else if (c === '"') quoted = !quoted;
    else if (!quoted && c === ',') {
      out[out.length - 1].push(field);
      field = '';
    } else if (!quoted && c === '\r' && text[i + 1] === '\n') {
      out[out.length - 1].push(field);
      field = '';
      out.push([]);
      ++i;
    } else field += c;
  }
  return out.slice(0, -1);
}

test('CSV is read back as it was', () => {
  const columns = {
    a: [1, null, -2.5],
    b: ['plain', 'a "quoted", one', 'two\r\nlines'],
    c: ['', '‮', '</script>'],
  };
  const rows = readCsv(page.csvOf(['a', 'b', 'c'], columns, [2, 0, 1]));
  assert.deepEqual(rows, [
    ['a', 'b', 'c'],
    ['-2.5', 'two\r\nlines', '</script>'],
    ['1', 'plain', ''],
    ['', 'a "quoted", one', '‮'],
  ]);
});

test('the fragment says what was kept, whatever it was', () => {
  const state = {
    place: '1.5,20',
    'gaps.treatment': 'off',
    'changes.to_tool': '3',
    name: 'a&b=c#%ü',
    empty: '',
  };
  const fragment = page.fragmentOf(state);
  assert.equal(fragment, page.fragmentOf(Object.fromEntries(Object.entries(state).reverse())));
  const { empty, ...kept } = state;
  assert.equal(empty, '');
  assert.deepEqual(page.stateOf(`#${fragment}`), kept);
  assert.deepEqual(page.stateOf(''), {});
  assert.deepEqual(Object.keys(page.stateOf('#__proto__=x')), ['__proto__']);
});

test('a place that is none is refused, one beyond the job is moved into it', () => {
  assert.deepEqual(page.placeOf('10,20', 100), { from: 10, to: 20 });
  assert.deepEqual(page.placeOf('-10,20', 100), { from: 0, to: 30 });
  assert.deepEqual(page.placeOf('90,120.5', 100), { from: 69.5, to: 100 });
  for (const wrong of [
    '',
    undefined,
    '5',
    '20,10',
    '5,5',
    'a,b',
    '1,2,3',
    '1.2.3,4.5.6',
    '1e9,2e9',
    'NaN,NaN',
  ]) {
    assert.equal(page.placeOf(wrong, 100), null, String(wrong));
  }
});
