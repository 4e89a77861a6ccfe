// What the report page draws and tells in Chromium, against what its data block says.
import assert from 'node:assert/strict';
import test from 'node:test';

import { demoPage, frames, opened } from './browser.mjs';

const demo = demoPage();

test('what is drawn in a lane is the share of time that it is used', async () => {
  const page = await opened(demo.html);
  // Colour of the lane of the first filament of birch, column by column, against the stretches.
  const { drawn, used } = await page.evaluate(() => {
    /* global canvas, rows, heads, planned, ink, left, width, USE, END */
    const ratio = devicePixelRatio,
      f = heads[1].filaments[0],
      row = rows[1];
    const image = canvas
      .getContext('2d')
      .getImageData(left * ratio, row.lanes * ratio, width * ratio, (row.tall - 1) * ratio);
    const hex = ink.filaments[f],
      want = [1, 3, 5].map((i) => parseInt(hex.slice(i, i + 2), 16));
    let drawn = 0;
    for (let i = 0; i < image.data.length; i += 4) {
      if (want.every((c, k) => Math.abs(image.data[i + k] - c) < 40)) drawn += 1;
    }
    const { from, to, kind } = planned.heads[1];
    const used = kind.reduce((s, k, i) => s + (k === USE + f ? to[i] - from[i] : 0), 0);
    return { drawn: drawn / (image.data.length / 4), used: used / END };
  });
  assert.ok(drawn > used * 0.6 && drawn < used * 1.5, `${drawn} of the lane drawn, ${used} used`);
  await page.closed();
});

test('facts of gaps and changes, band by band, are those of the JSON', async () => {
  const page = await opened(demo.html);
  const { gaps, policies, time_by_cause: causes } = demo.json;
  const told = await page.evaluate(() => {
    /* global G, C, gapFacts, changeFacts, factsOf, lasting, when, sliced, layers, DONE */
    const pairs = (lines) =>
      Object.fromEntries(
        lines.filter(Boolean).map((l) => [l.firstChild.textContent, l.lastChild.textContent]),
      );
    const lengths = (band, key) =>
      band.heads.reduce((s, h) => h[key].from.reduce((n, f, i) => n + h[key].to[i] - f, s), 0);
    const last = layers.length - 1;
    return {
      gaps: G.from_s.map((_, i) => pairs(gapFacts(i))),
      idle: G.hot_idle_s.map((s) => lasting(s)),
      changes: C.at_s.map((_, i) => pairs(changeFacts(i))),
      where: C.at_s.map((_, i) => [String(C.layer[i]), String(C.line[i])]),
      second: sliced.heads[1].kind
        .map((_, index) => factsOf({ head: 1, index, all: sliced.heads[1], sliced: true }))
        .map(([title, lines, row]) => [title, Object.keys(pairs(lines)).join(), row]),
      layers: [0, last].map((layer) => pairs(factsOf({ layer, t: 0 })[1]).lasts),
      lasts: [lasting(layers[1] - layers[0]), lasting(DONE - layers[last])],
      stops: [planned, sliced].map((band) => [lengths(band, 'waits'), lengths(band, 'sequences')]),
      ends: sliced.heads.map((h) => h.to[h.to.length - 1]),
    };
  });
  const words = await page.evaluate(
    (all) =>
      all.map((g) => ({
        'parked for': lasting(g.to_s - g.from_s),
        until: when(g.to_s),
        treatment: g.treatment,
        dip: `${Math.round(g.dip_c)} °C`,
        ...(g.preheat_at_s === null ? {} : { preheat: when(g.preheat_at_s) }),
        wait: g.wait_s > 0.05 ? lasting(g.wait_s) : 'none',
        reason: g.reason,
      })),
    gaps,
  );
  assert.deepEqual(
    told.gaps,
    words.map((w, i) => ({ ...w, 'hot idle': told.idle[i] })),
  );
  assert.deepEqual(
    told.changes.map((c) => [c.layer, c.line]),
    told.where,
  );
  // As sliced nothing is planned, so there is no row that tells more.
  for (const [title, terms, row] of told.second) {
    assert.match(title, /^birch, as sliced: /);
    assert.match(terms, /^from,lasts,heater(,the machine waits)?$/);
    assert.equal(row, null);
  }
  assert.deepEqual(told.layers, told.lasts);
  const near = (a, b) => assert.ok(Math.abs(a - b) < 2, `${a} is not ${b}`);
  near(told.stops[0][0], policies.lookahead.wait_s);
  near(told.stops[0][1], causes.sequence_s);
  near(told.stops[1][0], policies.as_sliced.wait_s);
  assert.equal(told.stops[1][1], 0);
  near(Math.max(...told.ends), policies.as_sliced.duration_s);
  // A row that a filter hides is shown all the same.
  await page.selectOption('#gaps-treatment', 'hold');
  const hidden = gaps.findIndex((g) => g.treatment === 'standby');
  await page.evaluate(`tables.gaps.show(${hidden})`);
  assert.equal(await page.locator('#gaps tr.marked').getAttribute('data-row'), String(hidden));
  await page.closed();
});

test('what is drawn has the colour, the height and the place of what it stands for', async () => {
  const page = await opened(demo.html, { fragment: '#sliced=1' });
  await page.evaluate(() => {
    /* global ratio, CLOCK, KINDS, ALL, STRIP, AXIS, POWER, D, x, look, seen, powerTop */
    /* global aggregated, awayStretches, legend, mostWatts */
    // From a copy: Chromium says so where what is drawn in is read often.
    const copy = document.createElement('canvas').getContext('2d', { willReadFrequently: true });
    window.pixels = (of, px, py, w, h) => {
      [copy.canvas.width, copy.canvas.height] = [w * ratio, h * ratio];
      copy.drawImage(of, -px * ratio, -py * ratio);
      const { data } = copy.getImageData(0, 0, w * ratio, h * ratio);
      return Array.from({ length: data.length / 4 }, (_, i) =>
        [...data.slice(4 * i, 4 * i + 3)].join(),
      );
    };
    window.rgb = (hex) => [1, 3, 5].map((i) => parseInt(hex.slice(i, i + 2), 16)).join();
    window.swatch = (words) =>
      [...legend.children].find((li) => li.textContent.trim() === words).firstChild;
  });
  const whole = await page.evaluate(() => {
    const { pixels, rgb } = window;
    const away = awayStretches(D.away, CLOCK, seen.from, seen.to)[0];
    const at = Math.round(x(away[0]));
    const beside = (px) => pixels(canvas, px, AXIS - 6, 1, 1)[0] === rgb(ink.away);
    const limit = Math.round(powerTop() + POWER - (D.limit_w / mostWatts / 1.1) * POWER);
    const dashes = pixels(canvas, left, limit - 1, width, 2);
    const band = (top, tall, colour) =>
      pixels(canvas, left, top, width, tall).filter((c) => c === rgb(colour)).length;
    const { shares, whole } = aggregated(planned.heads[1], seen, width, ALL, 3);
    const kinds = KINDS.map((_, k) => {
      const image = pixels(canvas, left, rows[1].strip, width, STRIP);
      const w = width * ratio;
      const drawn = Array.from({ length: w }, (_, c) => c).filter((c) =>
        image.some((p, i) => i % w === c && p === rgb(ink.kinds[k])),
      ).length;
      let wanted = 0;
      for (let c = 0; c < width; ++c) wanted += shares[c * ALL + k] > 0.1 ? 1 : 0;
      for (const i of whole) {
        const { kind, from, to } = planned.heads[1];
        if (kind[i] === k) wanted += x(to[i]) - x(from[i]);
      }
      return [drawn / ratio, wanted];
    });
    return {
      away: [beside(at - 3), beside(at + 3)],
      limit: dashes.filter((c) => c === rgb(ink.caution)).length / dashes.length,
      kinds,
      // As sliced, birch is never off.
      off: [rows[1].strip, rows[1].second.strip].map((top) => band(top, STRIP, ink.kinds[0])),
      waits: band(rows[2].lanes - 9, 4, ink.wait),
    };
  });
  assert.deepEqual(whole.away, [false, true]);
  assert.ok(whole.limit > 0.3, `${whole.limit} of the limit's line`);
  for (const [drawn, wanted] of whole.kinds) {
    assert.ok(drawn > wanted * 0.5 && drawn < wanted * 1.5 + 20, `${drawn} columns, not ${wanted}`);
  }
  assert.ok(whole.off[0] > 0 && whole.off[1] === 0, `off: ${whole.off}`);
  assert.ok(whole.waits > 0);
  // From near: the hotter, the higher, and as the legend has it.
  const heights = [];
  for (const k of [0, 1, 2, 3]) {
    const head = await page.evaluate((kind) => {
      const long = (h, i) => h.kind[i] === kind && h.to[i] - h.from[i] > 20;
      const head = planned.heads.findIndex((h) => h.kind.some((_, i) => long(h, i)));
      const h = planned.heads[head];
      const i = h.kind.findIndex((_, i) => long(h, i));
      look({ from: h.from[i] - 5, to: h.to[i] + 5 });
      window.shown = [h.from[i], h.to[i]];
      return head;
    }, k);
    await frames(page);
    const [tall, same] = await page.evaluate(
      ([h, kind]) => {
        const { pixels, rgb, swatch, shown } = window;
        const at = Math.round(x(shown[1])) - 4;
        const column = pixels(canvas, at, rows[h].strip, 1, STRIP);
        const sample = pixels(swatch(KINDS[kind]), 20, 14, 1, 1)[0];
        const colour = rgb(ink.kinds[kind]);
        return [column.filter((c) => c === colour).length, sample === colour];
      },
      [head, k],
    );
    assert.ok(same, `the legend's colour of kind ${k}`);
    heights.push(tall);
  }
  assert.ok(heights[0] > 0 && heights.every((h, k) => k === 0 || h > heights[k - 1]), `${heights}`);
  // No two hatches are alike, whatever their colours.
  const hatches = await page.evaluate(() =>
    D.filaments.map((f) => {
      const image = window.pixels(window.swatch(`${f.letter} T${f.tool} ${f.name}`), 1, 2, 24, 12);
      return image.map((c) => (c === window.rgb(ink.filaments[f.look]) ? '#' : '.')).join('');
    }),
  );
  assert.equal(new Set(hatches).size, hatches.length);
  await page.closed();
});
