// The report page in Chromium as people have it: at four widths, in every look, on paper, without
// scripts, of hostile and of odd jobs.
import assert from 'node:assert/strict';
import { execFileSync, spawnSync } from 'node:child_process';
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import test from 'node:test';

import {
  CLOCK,
  DEMO,
  RULES,
  SOURCES,
  WORK,
  axe,
  forecast,
  opened,
  rowsIn,
  demoPage,
  plainPage,
} from './browser.mjs';

const demo = demoPage();
const plain = plainPage();

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
