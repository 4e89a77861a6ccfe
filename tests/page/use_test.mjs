// The report page in Chromium: its figures against the JSON of the same run, and what it does when it
// is pointed at, zoomed, filtered or linked to.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import test from 'node:test';

import {
  SOURCES,
  columnOf,
  fragment,
  frames,
  inSight,
  lasting,
  modules,
  opened,
  total,
  viewOf,
  demoPage,
} from './browser.mjs';

const demo = demoPage();
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
