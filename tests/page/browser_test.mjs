// The report page in Chromium: what it shows against the JSON of the same run, what it does, and what
// it must not do. Usage: FOREWARM_MODULES=FOLDER node --test browser_test.mjs, with FOREWARM (the
// program), SOURCES (the tree) and WORK (a folder for pages and screenshots) in the environment.
import assert from 'node:assert/strict';
import { execFileSync, spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import test, { after, before } from 'node:test';

const { FOREWARM, SOURCES, WORK, FOREWARM_MODULES, CHROMIUM = '/usr/bin/chromium' } = process.env;
const modules = createRequire(join(FOREWARM_MODULES, 'x.js'));
const { chromium } = modules('playwright-core');
const axe = readFileSync(join(FOREWARM_MODULES, 'node_modules/axe-core/axe.min.js'), 'utf8');
mkdirSync(WORK, { recursive: true });

const DEMO = join(SOURCES, 'fixtures/trail_map.gcode');
const RULES = join(SOURCES, 'config/demo.toml');
const CLOCK = ['--start', '2026-05-01T18:00', '--away', '22:00-07:00'];

function forecast(name, job, rules, ...options) {
  const html = join(WORK, `${name}.html`);
  const json = join(WORK, `${name}.json`);
  const reports = ['--html', html, '--json', json];
  execFileSync(FOREWARM, ['forecast', '-q', '--rules', rules, ...options, ...reports, job]);
  return { html, json: JSON.parse(readFileSync(json, 'utf8')) };
}

let browser;
before(async () => {
  browser = await chromium.launch({
    executablePath: CHROMIUM,
    args: [
      '--headless',
      '--no-sandbox',
      '--disable-gpu',
      '--disable-quic',
      '--no-first-run',
      '--disable-background-networking',
      '--disable-component-update',
      '--disable-sync',
    ],
  });
});
after(() => browser.close());

// Opens a page, and holds it to what every page must hold to: it says nothing, and asks for nothing.
async function opened(html, { fragment = '', ...context } = {}) {
  const on = await browser.newContext({ viewport: { width: 1280, height: 900 }, ...context });
  const page = await on.newPage();
  const wrong = [];
  page.on('console', (message) => wrong.push(`console: ${message.text()}`));
  page.on('pageerror', (error) => wrong.push(`error: ${error.message}`));
  page.on('dialog', (dialog) => {
    wrong.push(`dialog: ${dialog.message()}`);
    dialog.dismiss();
  });
  page.on('request', (request) => {
    const url = request.url().replace(/#.*/s, '');
    if (url !== `file://${html}` && !url.startsWith('data:text/csv')) wrong.push(`request: ${url}`);
  });
  await page.goto(`file://${html}${fragment}`);
  page.closed = async () => {
    assert.deepEqual(wrong, []);
    await on.close();
  };
  return page;
}
// `let` and `const` of the page's script can be read from outside.
const viewOf = (page) => page.evaluate('[view.from, view.to]');
const total = (page, id) => page.locator(`#${id} .total`).textContent();
// What is beyond the window cannot be pointed at.
const inSight = (page) => page.evaluate('canvas.scrollIntoView()');
const frames = (page) =>
  page.evaluate('new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r)))');
const fragment = async (page) => {
  await page.waitForTimeout(250);
  return new URL(page.url()).hash;
};
const rowsIn = (page, id) => page.locator(`#${id} tbody tr[data-row]`);
const columnOf = (page, id, n) =>
  page.locator(`#${id} tbody tr[data-row] td:nth-child(${n})`).allTextContents();
// Seconds as the page writes them.
const lasting = (page, s) => page.evaluate(`lasting(${s})`);

const demo = forecast('demo', DEMO, RULES, ...CLOCK);
const plain = forecast('plain', DEMO, RULES);
const sum = (rows, key) => rows.reduce((s, row) => s + row[key], 0);

test('the page is one file, small, and allows itself nothing else', async () => {
  const text = readFileSync(demo.html, 'utf8');
  assert.ok(Buffer.byteLength(text) < 1.5e6, `${Buffer.byteLength(text)} bytes`);
  const script = /<script>([^]*?)<\/script>/.exec(text)[1];
  assert.ok(Buffer.byteLength(script) < 40000, `the script has ${Buffer.byteLength(script)} bytes`);
  assert.match(
    text,
    /default-src 'none'; style-src 'sha256-[\w+/=]+'; script-src 'sha256-[\w+/=]+'/,
  );
  const markup = text.replace(/<(script|style)\b[^]*?<\/\1>/g, '');
  assert.ok(!/<[^>]*\s(on\w+|style)\s*=/i.test(markup), 'no handlers, no styles in the markup');
});

test('what is embedded is the script of the sources, word for word', async () => {
  const { tokenize } = modules('espree');
  const folder = join(SOURCES, 'src/report/page');
  const recipe = readFileSync(join(folder, 'embed.cmake'), 'utf8');
  const parts = /foreach\(part ([\w ]+)\)/.exec(recipe)[1].split(' ');
  const source = parts.map((part) => readFileSync(join(folder, `${part}.js`), 'utf8')).join('\n');
  const embedded = /<script>([^]*?)<\/script>/.exec(readFileSync(demo.html, 'utf8'))[1];
  const words = (text) => tokenize(text, { ecmaVersion: 2022 }).map(({ value }) => value);
  assert.ok(words(source).length > 5000);
  assert.deepEqual(words(embedded), words(source));
});

test('counts and figures are those of the JSON', async () => {
  const page = await opened(demo.html);
  const { gaps } = demo.json;
  const waiting = await lasting(page, sum(gaps, 'wait_s'));
  const idle = await lasting(page, demo.json.policies.lookahead.hot_idle_s);
  assert.equal(
    await total(page, 'gaps'),
    `${gaps.length} of ${gaps.length} rows · ${waiting} of waiting · ${idle} of hot idle`,
  );
  const kinds = await page.evaluate('C.kind');
  for (const [kind, count] of Object.entries(demo.json.changes)) {
    assert.equal(kinds.filter((k) => k === kind).length, count, kind);
  }
  assert.ok((await total(page, 'changes')).startsWith(`${kinds.length} of ${kinds.length} rows`));
  for (const [i, gap] of gaps.entries()) {
    assert.equal(await page.evaluate(`G.reason[${i}]`), gap.reason);
    assert.equal(await page.evaluate(`heads[G.toolhead[${i}]].name`), gap.toolhead);
  }
  // What is drawn lasts as long as the plan, and waits as long.
  const drawn = await page.evaluate(
    `planned.heads.map(({ from, to }) => to[to.length - 1] - from[0])`,
  );
  for (const s of drawn) assert.ok(s > 0.9 * demo.json.policies.lookahead.duration_s);
  const end = await page.evaluate('DONE');
  assert.ok(Math.abs(end - demo.json.policies.lookahead.duration_s) < 1, `${end}`);
  await page.closed();
});

test('the wheel zooms, a drag moves, and the page scrolls where there is no more to see', async () => {
  const page = await opened(demo.html);
  const box = await page.locator('#picture').boundingBox();
  const [x, y] = [box.x + box.width / 2, box.y + 60];
  await page.mouse.move(x, y);
  const under = await page.evaluate(`secondsAt(${x - box.x})`);
  for (let i = 0; i < 6; ++i) await page.mouse.wheel(0, -200);
  await frames(page);
  const [from, to] = await viewOf(page);
  assert.ok(to - from < (await page.evaluate('END')) / 20, `${from} to ${to}`);
  assert.ok(Math.abs((await page.evaluate(`secondsAt(${x - box.x})`)) - under) < (to - from) / 300);
  await page.mouse.down();
  await page.mouse.move(x - 200, y, { steps: 4 });
  await page.mouse.up();
  const moved = await viewOf(page);
  assert.ok(Math.abs(moved[0] - from - (200 / (await page.evaluate('width'))) * (to - from)) < 1);
  assert.ok(Math.abs(moved[1] - moved[0] - (to - from)) < 1e-6);
  for (let i = 0; i < 12; ++i) await page.mouse.wheel(0, 200);
  await frames(page);
  assert.deepEqual(await viewOf(page), [0, await page.evaluate('END')]);
  await page.mouse.wheel(0, 200);
  await page.waitForFunction('scrollY > 0');
  await page.closed();
});

test('keys zoom, move, choose, and go to the row', async () => {
  const page = await opened(demo.html);
  await page.locator('#all').focus();
  await page.keyboard.press('Tab');
  await page.keyboard.press('Tab');
  assert.equal(await page.evaluate('document.activeElement.id'), 'picture');
  assert.match(await page.locator('#facts h3').textContent(), /^ash: /, 'focus tells facts');
  const end = await page.evaluate('END');
  for (const key of ['+', '+', '=']) await page.keyboard.press(key);
  const [from, to] = await viewOf(page);
  assert.ok(Math.abs(to - from - end * 0.216) < 0.01);
  await page.keyboard.press('ArrowRight');
  assert.ok(Math.abs((await viewOf(page))[0] - from - (to - from) / 8) < 0.01);
  await page.keyboard.press('ArrowLeft');
  await page.keyboard.press('-');
  assert.ok(Math.abs((await viewOf(page))[1] - (await viewOf(page))[0] - end * 0.36) < 0.01);
  await page.keyboard.press('Home');
  assert.equal((await viewOf(page))[0], 0);
  await page.keyboard.press('End');
  assert.ok(Math.abs((await viewOf(page))[1] - end) < 1e-6);
  await page.keyboard.press('0');
  assert.deepEqual(await viewOf(page), [0, end]);
  await page.keyboard.press('ArrowDown');
  assert.match(await page.locator('#facts h3').textContent(), /^birch: /);
  const before = await page.evaluate('picked.index');
  await page.keyboard.press('.');
  assert.equal(await page.evaluate('picked.index'), before + 1);
  await page.keyboard.press(',');
  assert.equal(await page.evaluate('picked.index'), before);
  await page.keyboard.press('Enter');
  assert.equal(await page.evaluate('document.activeElement.tagName'), 'BUTTON');
  const row = await page.evaluate('document.activeElement.closest("tr").className');
  assert.equal(row, 'marked');
  await page.keyboard.press('Enter');
  assert.equal(await page.evaluate('document.activeElement.id'), 'picture', 'and back');
  await page.closed();
});

test('hover tells the facts of a gap, with its reason; a click goes to its row', async () => {
  const page = await opened(demo.html, { fragment: '#place=7200,9000' });
  await inSight(page);
  const gap = demo.json.gaps.findIndex(
    (g) => g.toolhead === 'cedar' && g.from_s > 7300 && g.to_s < 8900,
  );
  const { from_s: from, to_s: to, reason } = demo.json.gaps[gap];
  const at = await page.evaluate(`(() => { const b = canvas.getBoundingClientRect();
    return [b.left + x(${(from + to) / 2}), b.top + rows[2].strip + 10]; })()`);
  await page.mouse.move(...at);
  const text = await page.locator('#facts').textContent();
  assert.ok(text.startsWith('cedar: ') && text.includes(reason), text);
  await page.mouse.click(...at);
  const marked = page.locator('#gaps tr.marked');
  assert.equal(await marked.getAttribute('data-row'), String(gap));
  assert.ok((await marked.textContent()).includes(reason));
  await marked.locator('button').scrollIntoViewIfNeeded();
  await marked.locator('button').click();
  const [a, b] = await viewOf(page);
  assert.ok(a <= from && b >= to && b - a < (to - from) * 3.2);
  assert.match(await fragment(page), /pick=2%2C\d+/);
  await page.closed();
});

test('facts of changes, of heating power and of layers', async () => {
  const page = await opened(demo.html, { fragment: '#place=9000,9600' });
  await inSight(page);
  const tell = async (place) => {
    const at = await page.evaluate(`(() => { const b = canvas.getBoundingClientRect();
      const [px, py] = ${place}; return [b.left + px, b.top + py]; })()`);
    await page.mouse.move(...at);
    return page.locator('#facts').textContent();
  };
  const first = await page.evaluate('C.at_s.findIndex((s, i) => s > 9010 && C.toolhead[i] === 1)');
  const line = await page.evaluate(`C.line[${first}]`);
  assert.match(
    await tell(`[x(C.at_s[${first}]), rows[1].top + 8]`),
    new RegExp(`Change.*line${line}`),
  );
  assert.match(await tell('[left + 50, powerTop() + 20]'), /^Heating power.*\d+ W.*120 W/);
  assert.match(await tell('[left + 50, layersTop() + 5]'), /^Layer \d+ of 30/);
  await page.evaluate('look({ from: 0, to: 60 })');
  await frames(page);
  assert.ok((await page.evaluate('layers[0]')) > 60, 'the start code comes before them');
  assert.match(await tell('[left + 50, layersTop() + 5]'), /^Point at the picture/);
  await page.closed();
});

test('every row leads to an interval of its own', async () => {
  const page = await opened(demo.html);
  const strays = await page.evaluate(`Object.entries(TABLES).flatMap(([id, [, only, , , jump]]) =>
    only.filter((row) => {
      jump(row);
      const [table, led] = (picked && factsOf(picked)[2]) || [];
      return led !== row || (table === 'gaps') !== (id === 'gaps');
    }).map((row) => id + ' ' + row))`);
  // What the start code primes, and puts away again, is not drawn.
  assert.deepEqual(strays, ['changes 0', 'changes 1']);
  assert.ok(await page.evaluate('planned.heads[0].from[0] > C.at_s[1]'));
  await page.closed();
});

test('the map always says where one is', async () => {
  const page = await opened(demo.html, { fragment: '#place=3600,7200' });
  await inSight(page);
  assert.match(
    await page.locator('.place').textContent(),
    /Fri 19:00:00 to Fri 20:00:00, 1 h 00 min/,
  );
  const box = await page.locator('#minimap').boundingBox();
  await page.mouse.click(box.x + box.width * 0.9, box.y + 10);
  await frames(page);
  const [from, to] = await viewOf(page);
  assert.ok(Math.abs(to - from - 3600) < 1e-6 && from > 7200);
  assert.notEqual(await page.locator('#minimap').getAttribute('aria-valuenow'), '16');
  await page.locator('#minimap').focus();
  await page.keyboard.press('Home');
  assert.equal((await viewOf(page))[0], 0);
  await page.closed();
});

test('tables sort, filter, sum up, and give what is shown as CSV', async () => {
  const page = await opened(demo.html);
  const { gaps } = demo.json;
  await page.selectOption('#gaps-treatment', 'standby');
  await page.selectOption('#gaps-toolhead', { label: 'cedar' });
  const wanted = gaps.filter((g) => g.treatment === 'standby' && g.toolhead === 'cedar');
  assert.ok(wanted.length > 0 && wanted.length < gaps.length);
  const waiting = await lasting(page, sum(wanted, 'wait_s'));
  const shown = `${wanted.length} of ${gaps.length} rows · ${waiting} of waiting`;
  assert.ok((await total(page, 'gaps')).startsWith(shown));
  const sorter = page.locator('#gaps th[data-key="dip_c"] button');
  await sorter.click();
  await sorter.click();
  assert.equal(
    await page.locator('#gaps th[data-key="dip_c"]').getAttribute('aria-sort'),
    'descending',
  );
  const dips = (await columnOf(page, 'gaps', 6)).map(parseFloat);
  assert.deepEqual(
    dips,
    [...dips].sort((a, b) => b - a),
  );
  const [download] = await Promise.all([
    page.waitForEvent('download'),
    page.click('#gaps a[download]'),
  ]);
  assert.equal(download.suggestedFilename(), 'gaps.csv');
  const csv = readFileSync(await download.path(), 'utf8')
    .trim()
    .split('\r\n');
  assert.equal(csv.length, wanted.length + 1);
  assert.match(csv[0], /^from_s,to_s,toolhead,/);
  assert.ok(csv.slice(1).every((line) => line.includes(',cedar,')));
  assert.match(await fragment(page), /gaps.sort=-dip_c/);

  await page.click('#gaps button:text("all rows")');
  assert.ok((await total(page, 'gaps')).startsWith(`${gaps.length} of`));
  await page.fill('#gaps-wait_s', '1');
  assert.ok(
    (await total(page, 'gaps')).startsWith(`${gaps.filter((g) => g.wait_s >= 1).length} of`),
  );
  await page.selectOption('#exchanges-to_tool', '3');
  const exchanges = await page.evaluate(
    'C.at_s.filter((_, i) => C.exchange_s[i] > 0 && C.to_tool[i] === 3).length',
  );
  assert.ok(exchanges > 0);
  assert.ok((await total(page, 'exchanges')).startsWith(`${exchanges} of `));
  await page.check('#changes-shown');
  await page.locator('#picture').focus();
  await page.keyboard.press('+');
  await page.waitForTimeout(300);
  const seen = await page.evaluate('C.at_s.filter((s) => s >= view.from && s <= view.to).length');
  assert.ok((await total(page, 'changes')).startsWith(`${seen} of `));
  await page.closed();
});

test('the fragment leads to a place, filters, order and the second band, at once and later', async () => {
  const link = '#place=3600,7200&sliced=1&gaps.treatment=hold&gaps.sort=-to_s&pick=1,30';
  const page = await opened(demo.html, { fragment: link });
  assert.deepEqual(await viewOf(page), [3600, 7200]);
  assert.ok(await page.isChecked('#sliced'));
  assert.ok(await page.evaluate('rows.every((row) => row.second)'));
  const holds = demo.json.gaps.filter((g) => g.treatment === 'hold').length;
  assert.ok((await total(page, 'gaps')).startsWith(`${holds} of`));
  assert.equal(
    await page.locator('#gaps th[data-key="to_s"]').getAttribute('aria-sort'),
    'descending',
  );
  assert.match(await page.locator('#facts h3').textContent(), /^birch: /);
  const tall = await page.evaluate('height');
  await page.evaluate('location.hash = "#place=10,20"');
  await frames(page);
  assert.deepEqual(await viewOf(page), [10, 20]);
  assert.ok(!(await page.isChecked('#sliced')));
  assert.ok((await page.evaluate('height')) < tall);
  assert.ok((await total(page, 'gaps')).startsWith(`${demo.json.gaps.length} of`));
  assert.equal(await page.locator('#gaps th[aria-sort]').count(), 0);
  for (const wrong of [
    '#place=9,1',
    '#pick=99,0&gaps.sort=nothing&gaps.treatment=none',
    '#pick=1,99999,sliced',
    '#%',
  ]) {
    await page.evaluate((hash) => {
      location.hash = hash;
    }, wrong);
    await frames(page);
    assert.deepEqual(await viewOf(page), [0, await page.evaluate('END')]);
  }
  await page.closed();
});

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
    /* global G, C, gapFacts, changeFacts, factsOf, when, sliced, layers, DONE */
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
    /* global ratio, KINDS, ALL, STRIP, AXIS, POWER, D, x, look, seen, powerTop */
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

test('two fingers zoom, one moves, a tap tells, and the page still scrolls', async () => {
  const page = await opened(demo.html, {
    viewport: { width: 390, height: 800 },
    hasTouch: true,
    isMobile: true,
  });
  const driver = await page.context().newCDPSession(page);
  await page.locator('#picture').scrollIntoViewIfNeeded();
  const box = await page.locator('#picture').boundingBox();
  const touch = (type, ...points) =>
    driver.send('Input.dispatchTouchEvent', {
      type,
      touchPoints: points.map(([x, y], id) => ({ x: box.x + x, y: box.y + y, id })),
    });
  const end = await page.evaluate('END');
  const [a, b] = await page.evaluate('[secondsAt(150), secondsAt(250)]');
  await touch('touchStart', [150, 60], [250, 60]);
  for (let i = 1; i <= 5; ++i) await touch('touchMove', [150 - 12 * i, 60], [250 + 12 * i, 60]);
  await touch('touchEnd');
  await frames(page);
  const [from, to] = await viewOf(page);
  assert.ok(to - from < end * 0.6, `${to - from} of ${end}`);
  const [c, d] = await page.evaluate('[secondsAt(90), secondsAt(310)]');
  assert.ok(
    Math.abs(a - c) < end / 100 && Math.abs(b - d) < end / 100,
    'what is under a finger stays there',
  );
  await touch('touchStart', [300, 60]);
  for (let i = 1; i <= 6; ++i) await touch('touchMove', [300 - 20 * i, 60]);
  await touch('touchEnd');
  await frames(page);
  assert.ok((await viewOf(page))[0] > from);
  const strip = await page.evaluate('[left + 120, rows[2].strip + 8]');
  await page.touchscreen.tap(box.x + strip[0], box.y + strip[1]);
  assert.match(await page.locator('#facts h3').textContent(), /^cedar: /);
  const scrolled = await page.evaluate('scrollY');
  await touch('touchStart', [200, 300]);
  for (let i = 1; i <= 10; ++i) await touch('touchMove', [200, 300 - 20 * i]);
  await touch('touchEnd');
  await page.waitForFunction((y) => scrollY > y + 50, scrolled);
  await page.closed();
});

for (const width of [390, 768, 1280, 2560]) {
  for (const [look, context] of Object.entries({
    light: { colorScheme: 'light' },
    dark: { colorScheme: 'dark', reducedMotion: 'reduce' },
    forced: { forcedColors: 'active' },
  })) {
    test(`${width} pixels wide, ${look}: nothing sticks out, axe finds nothing`, async () => {
      const page = await opened(demo.html, { viewport: { width, height: 900 }, ...context });
      const out = await page.evaluate('document.documentElement.scrollWidth - innerWidth');
      assert.ok(out <= 0, `${out} pixels too wide`);
      await page.screenshot({ path: join(WORK, `demo-${width}-${look}.png`), fullPage: true });
      const picture = page.locator('section:has(#picture)');
      await picture.screenshot({ path: join(WORK, `picture-${width}-${look}.png`) });
      await page.evaluate(axe);
      const options = { rules: { 'color-contrast-enhanced': { enabled: look !== 'forced' } } };
      const { violations } = await page.evaluate((o) => window.axe.run(document, o), options);
      const words = violations.map(
        (v) => `${v.id}: ${v.nodes.map((n) => n.html.slice(0, 120)).join(' | ')}`,
      );
      assert.deepEqual(words, []);
      if (look === 'dark') {
        const moving = await page.evaluate('document.getAnimations().length');
        assert.equal(moving, 0);
      }
      await page.closed();
    });
  }
}

// WCAG 2.1, relative luminance and contrast ratio.
function contrast(one, other) {
  const luminance = (hex) => {
    const [r, g, b] = [1, 3, 5]
      .map((i) => parseInt(hex.slice(i, i + 2), 16) / 255)
      .map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const [a, b] = [luminance(one), luminance(other)].sort((x, y) => y - x);
  return (a + 0.05) / (b + 0.05);
}

for (const colorScheme of ['light', 'dark']) {
  test(`contrast, ${colorScheme}: text 7:1, marks 3:1`, async () => {
    const page = await opened(demo.html, { colorScheme });
    const names = [
      'ink',
      'soft',
      'mark',
      'caution',
      'sheet',
      'ground',
      'away',
      'late',
      'caution-ground',
      'off',
      'standby',
      'hold',
      'heating',
      'wait',
      ...Array.from({ length: 8 }, (_, i) => `filament-${i}`),
    ];
    const of = await page.evaluate((all) => {
      const style = getComputedStyle(document.documentElement);
      return Object.fromEntries(
        all.map((name) => [name, style.getPropertyValue(`--${name}`).trim()]),
      );
    }, names);
    const low = [];
    const hold = (least, fronts, grounds) => {
      for (const front of fronts) {
        for (const ground of grounds) {
          const ratio = contrast(of[front], of[ground]);
          if (ratio < least) low.push(`${front} on ${ground}: ${ratio.toFixed(2)}, not ${least}`);
        }
      }
    };
    hold(7, ['ink'], ['sheet', 'ground', 'away', 'late', 'caution-ground']);
    hold(7, ['soft'], ['sheet', 'ground']);
    hold(4.5, ['soft'], ['away']);
    hold(7, ['mark'], ['sheet', 'ground']);
    const marks = names.slice(names.indexOf('off'));
    hold(3, [...marks, 'mark', 'caution'], ['sheet', 'away']);
    assert.deepEqual(low, []);
    await page.closed();
  });
}

test('on paper: the still picture and the first rows, none of them cut', async () => {
  const page = await opened(demo.html);
  await page.setViewportSize({ width: 718, height: 1000 });
  await page.emulateMedia({ media: 'print' });
  const out = await page.evaluate(() =>
    [...document.querySelectorAll('table, svg')]
      .filter((e) => e.offsetParent !== null || e.tagName === 'svg')
      .map((e) => [
        e.getBoundingClientRect().right - document.documentElement.clientWidth,
        e.textContent.slice(0, 60),
      ])
      .filter(([right]) => right > 1),
  );
  assert.deepEqual(out, []);
  assert.ok(!(await page.isVisible('#picture')) && !(await page.isVisible('#facts')));
  // No figure is broken in two, and the picture fits a page.
  const broken = await page.evaluate(() =>
    [...document.querySelectorAll('.still-only td:not(.t)')]
      .filter((td) => getComputedStyle(td).whiteSpace !== 'nowrap')
      .map((td) => td.textContent),
  );
  assert.deepEqual(broken, []);
  const picture = await page.locator('.still-only > .scroll > svg').first().boundingBox();
  assert.ok(picture.height <= 850, `${picture.height} pixels`);
  assert.equal(
    await page.evaluate(
      () =>
        [...document.querySelectorAll('tr')].filter(
          (tr) => tr.offsetParent !== null && getComputedStyle(tr).breakInside !== 'avoid',
        ).length,
    ),
    0,
  );
  const tall = await page.evaluate('document.documentElement.scrollHeight');
  const file = join(WORK, 'demo.pdf');
  await page.pdf({
    path: file,
    format: 'A4',
    margin: { top: '10mm', bottom: '10mm', left: '10mm', right: '10mm' },
  });
  const pages = readFileSync(file, 'latin1').match(/\/Type\s*\/Page\b(?!s)/g).length;
  assert.ok(pages >= tall / 1100 && pages <= tall / 700 + 4, `${pages} pages, ${tall} pixels`);
  const read = spawnSync('pdftotext', ['-bbox', file, '-'], { encoding: 'utf8', maxBuffer: 1e8 });
  if (read.status === 0) {
    const sheets = read.stdout.split('<page ').slice(1);
    assert.equal(sheets.length, pages);
    for (const sheet of sheets) {
      const [, w, h] = /width="([\d.]+)" height="([\d.]+)"/.exec(sheet).map(Number);
      for (const [, ...edges] of sheet.matchAll(
        /xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)"/g,
      )) {
        const [x1, y1, x2, y2] = edges.map(Number);
        assert.ok(x1 >= 0 && y1 >= 0 && x2 <= w && y2 <= h, `a word at ${edges} of ${w} by ${h}`);
      }
    }
  }
  await page.closed();
});

test('without scripts: figures, the whole picture, the first rows', async () => {
  const page = await opened(demo.html, { javaScriptEnabled: false });
  assert.ok(await page.locator('.still-only svg').first().isVisible());
  assert.ok(!(await page.locator('#picture').isVisible()));
  const rows = await page.locator('section:has(#gaps) .still-only tbody tr').count();
  assert.equal(rows, Math.min(demo.json.gaps.length, 200));
  await page.screenshot({ path: join(WORK, 'demo-no-script.png'), fullPage: true });
  await page.closed();
});

test('a day that begins near the end is named within the still picture', async () => {
  const late = forecast(
    'late',
    DEMO,
    RULES,
    '--start',
    '2026-05-01T16:00',
    '--away',
    '20:00-22:00',
  );
  const page = await opened(late.html, { javaScriptEnabled: false });
  const svg = page.locator('.still-only > .scroll > svg').first();
  const day = await svg.getByText('2026-05-02').boundingBox();
  const picture = await svg.boundingBox();
  assert.ok(day.x + day.width <= picture.x + picture.width, `${day.x}, ${day.width}`);
  assert.match(await page.locator('.still-only .legend').textContent(), /away/);
  await page.closed();
});

test('tidy finds the page valid', (t) => {
  for (const html of [demo.html, plain.html]) {
    const run = spawnSync('tidy', ['-qe', '--drop-empty-elements', 'no', html], {
      encoding: 'utf8',
    });
    if (run.error) {
      t.skip('tidy is not installed');
      return;
    }
    assert.equal(run.stderr, '');
  }
});

test('hostile names stay text', async () => {
  const names = {
    granite: '</script><img src=x onerror=alert(1)>',
    'moss green': `"'&lt;<!--${'`'}\${alert(1)}`,
    'lake blue': '\u202Eeulb ekal',
    heather: `${'long '.repeat(2000)}`,
    'trail ochre': 'unbroken'.repeat(1250),
    ash: '<script>alert(2)</script>',
  };
  let rules = readFileSync(RULES, 'utf8');
  for (const [name, hostile] of Object.entries(names)) {
    const text = hostile.replace(/"/g, '\\"');
    assert.ok(rules.includes(`name = "${name}"`), name);
    rules = rules.replaceAll(`"${name}"`, `"${text}"`);
  }
  const path = join(WORK, 'hostile.toml');
  writeFileSync(path, rules);
  const job = join(WORK, `<b>job" onload='x'\u0007\u001b[31m.gcode`);
  writeFileSync(job, readFileSync(DEMO));
  const hostile = forecast('hostile', job, path, ...CLOCK);
  for (const width of [390, 1280]) {
    const page = await opened(hostile.html, { viewport: { width, height: 900 } });
    const found = await page.evaluate(
      `document.querySelectorAll('img, iframe, h1 *, [onerror], [onload]').length`,
    );
    assert.equal(found, 0);
    assert.equal(await page.evaluate('document.scripts.length'), 2);
    assert.ok((await page.locator('h1').textContent()).includes('<b>job" onload='));
    assert.ok(
      (await page.locator('.legend').first().textContent()).includes('</script><img src=x'),
    );
    const content = await page.content();
    for (const control of ['\u202e', '\u0007', '\u001b']) assert.ok(!content.includes(control));
    const out = await page.evaluate('document.documentElement.scrollWidth - innerWidth');
    assert.ok(out <= 0, `${out} pixels too wide at ${width}`);
    await page.screenshot({ path: join(WORK, `hostile-${width}.png`), fullPage: true });
    await page.closed();
  }
});

test('jobs of one tool, of one use, and of nothing', async () => {
  const jobs = {
    single: readFileSync(join(SOURCES, 'fixtures/single_tool.gcode')),
    one: 'G28\nM104 S200\nM109 S200\nT0\nG1 X10 Y10 E5 F600\nG1 X50 E9\nM84\n',
    none: 'G28\nM84\n',
  };
  for (const [name, text] of Object.entries(jobs)) {
    const job = join(WORK, `${name}.gcode`);
    writeFileSync(job, text);
    const page = await opened(forecast(name, job, name === 'single' ? 'built-in' : RULES).html);
    if (await page.isVisible('#picture')) {
      await page.locator('#picture').focus();
      for (const key of ['+', '.', ',', 'ArrowDown', 'ArrowRight', 'Enter', '0']) {
        await page.keyboard.press(key);
      }
      await page.mouse.move(400, 400);
    }
    await page.closed();
  }
});

test('thirty filaments of one feeder have a lane and a letter each', async () => {
  const tools = [...Array(30).keys()];
  const rules = join(WORK, 'thirty.toml');
  const heater = 'power_w = 50, full_drive_c = 450, time_constant_s = 180';
  writeFileSync(
    rules,
    `version = 1\n[[toolhead]]\nname = "oak"\ntools = [${tools}]\nheater = { ${heater} }\n`,
  );
  const job = join(WORK, 'thirty.gcode');
  const use = (t) => `T${t}\nM109 T${t} S210\nG1 X0 E1 F600\nG1 X500 E9\n`;
  writeFileSync(job, `M83\n${tools.map(use).join('')}M84\n`);
  const page = await opened(forecast('thirty', job, rules, ...CLOCK).html);
  assert.equal(await page.evaluate('heads[0].filaments.length'), 30);
  // Lower ones have no letters.
  assert.ok((await page.evaluate('rows[0].tall')) >= 12);
  assert.match(await page.locator('.legend').first().textContent(), /A T0 +B T1 .*AD T29.*away/s);
  await page.closed();
});

test('10,000 changes: only what is visible is in the tree, and all of them are in reach', async () => {
  const job = join(WORK, 'big.gcode');
  if (!existsSync(job)) {
    execFileSync(join(SOURCES, 'scripts/make_job'), [
      '--changes',
      '10000',
      '--size',
      '8000000',
      '-o',
      job,
    ]);
  }
  const big = forecast('big', job, RULES, ...CLOCK);
  const bytes = readFileSync(big.html).length;
  assert.ok(bytes < 6e6, `${bytes} bytes`);
  const page = await opened(big.html);
  const count = await page.evaluate('C.at_s.length');
  assert.ok(count > 9900, `${count} changes`);
  assert.ok((await rowsIn(page, 'changes').count()) < 60);
  await page.evaluate(`document.querySelector('#changes .rows').scrollTop = 1e9`);
  await page.waitForSelector(`#changes tr[data-row="${count - 1}"]`);
  assert.ok((await rowsIn(page, 'changes').count()) < 60);
  await page.evaluate(`tables.changes.show(5000)`);
  const box = await page.locator('#changes tr.marked').boundingBox();
  const frame = await page.locator('#changes .rows').boundingBox();
  assert.ok(box.y >= frame.y && box.y + box.height <= frame.y + frame.height);
  await page.locator('section:has(#picture)').screenshot({ path: join(WORK, 'picture-big.png') });
  await page.closed();
});
