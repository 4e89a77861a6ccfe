// Pages of charts in Chromium, at four widths and in every look: nothing overlaps, sticks out or is too
// small to read, axe finds nothing, the console stays empty, nothing is asked for, and paper cuts no
// chart. In the environment, beside what browser.mjs needs: PLAYER (simulated_machine).
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import test from 'node:test';

import { DEMO, FOREWARM, RULES, SOURCES, WORK, axe, browser } from './browser.mjs';

const { PLAYER } = process.env;
const LEAST_TEXT_PX = 11;
const LEAST_TEXT_CONTRAST = 4.5;
const LEAST_MARK_CONTRAST = 3;

// Of the demo job, and of a print of it on a simulated machine.
function makePages() {
  const at = (name) => join(WORK, name);
  const made = {};
  const run = (command, ...options) => {
    const name = `${command}-${Object.keys(made).length}`;
    made[name] = at(`${name}.html`);
    execFileSync(FOREWARM, [command, '-q', '--html', made[name], ...options]);
  };
  const sweeps = ['--sweep', 'off_over_s=300:3600:300', '--sweep', 'timer_off_s=600:3600:600'];
  run('compare', '--rules', RULES, ...sweeps, DEMO);
  const set = ['--set', 'toolhead.birch.exchange_s=20', '--set', 'gap.off_over_s=600'];
  run('compare', '--rules', RULES, ...set, DEMO);
  // Without echoes nothing tells what a change took.
  const echo = 'echo = ["M400", "M118 {text}"]\n';
  const rules = at('rules.toml');
  writeFileSync(
    rules,
    readFileSync(RULES, 'utf8').replace(/^\[dialect\].*\n/m, (line) => line + echo),
  );
  const describe = join(SOURCES, 'tests/simulated/machine_of_rules.py');
  writeFileSync(at('machine.json'), execFileSync('python3', [describe, rules]));
  execFileSync(FOREWARM, ['rewrite', '-q', '--rules', rules, '-o', at('job.gcode'), DEMO]);
  const log = ['--record', at('host.log')];
  execFileSync(PLAYER, ['--machine', at('machine.json'), '--seed', '1', ...log, at('job.gcode')]);
  run('calibrate', '--rules', rules, at('host.log'));
  run('review', '--rules', rules, at('job.gcode'), at('host.log'));
  return made;
}

async function opened(file, context) {
  const on = await browser.newContext(context);
  const page = await on.newPage();
  const wrong = [];
  page.on('console', (message) => wrong.push(`console: ${message.text()}`));
  page.on('pageerror', (error) => wrong.push(`error: ${error.message}`));
  page.on('request', (r) => r.url() === `file://${file}` || wrong.push(`request: ${r.url()}`));
  await page.goto(`file://${file}`);
  return { page, wrong, close: () => on.close() };
}

// What is wrong with the charts as they are shown.
function faults({ least, leastText, leastMark }) {
  const out = [];
  if (document.documentElement.scrollWidth > window.innerWidth)
    out.push('the page is wider than the window');
  const luminance = (colour) => {
    const [r, g, b] = colour.match(/[\d.]+/g).map((c) => {
      const s = c / 255;
      return s <= 0.04045 ? s / 12.92 : ((s + 0.055) / 1.055) ** 2.4;
    });
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const contrast = (a, b) => {
    const [low, high] = [luminance(a), luminance(b)].sort((x, y) => x - y);
    return (high + 0.05) / (low + 0.05);
  };
  for (const svg of document.querySelectorAll('svg.chart')) {
    const name = svg.querySelector('title').textContent;
    const box = svg.getBoundingClientRect();
    if (box.width === 0) continue; // of the other size
    const scale = box.width / svg.viewBox.baseVal.width;
    const ground = getComputedStyle(svg.closest('figure')).backgroundColor;
    const texts = [...svg.querySelectorAll('text')].map((t) => {
      const style = getComputedStyle(t);
      const px = parseFloat(style.fontSize) * scale;
      if (px < least) out.push(`${name}: "${t.textContent}" is ${px.toFixed(1)} px`);
      if (contrast(style.fill, ground) < leastText)
        out.push(`${name}: "${t.textContent}" is faint`);
      const b = t.getBoundingClientRect();
      if (b.left < box.left - 1 || b.right > box.right + 1 || b.bottom > box.bottom + 1) {
        out.push(`${name}: "${t.textContent}" sticks out`);
      }
      return { text: t.textContent, b };
    });
    for (let i = 0; i < texts.length; ++i) {
      for (let j = 0; j < i; ++j) {
        const [a, b] = [texts[i].b, texts[j].b];
        const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
        const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
        // Boxes of lines have room above and below their letters.
        if (wide > 0.5 && high > 0.4 * Math.min(a.height, b.height)) {
          out.push(`${name}: "${texts[i].text}" and "${texts[j].text}" overlap`);
        }
      }
    }
    for (const mark of svg.querySelectorAll('path, .bar, .bound, .moment')) {
      const { stroke } = getComputedStyle(mark);
      if (contrast(stroke, ground) < leastMark) out.push(`${name}: a mark is faint: ${stroke}`);
    }
  }
  return [...new Set(out)];
}

const LOOKS = {
  light: { colorScheme: 'light' },
  dark: { colorScheme: 'dark' },
  'forced colours': { forcedColors: 'active' },
};

for (const [file, path] of Object.entries(makePages())) {
  for (const [look, context] of Object.entries(LOOKS)) {
    for (const width of [390, 768, 1280, 2560]) {
      test(`${file}, ${width} pixels wide, ${look}`, async () => {
        const { page, wrong, close } = await opened(path, {
          viewport: { width, height: 900 },
          ...context,
        });
        const limits = {
          least: LEAST_TEXT_PX,
          leastText: LEAST_TEXT_CONTRAST,
          leastMark: LEAST_MARK_CONTRAST,
        };
        assert.deepEqual(await page.evaluate(faults, limits), []);
        await page.evaluate(axe);
        const { violations } = await page.evaluate(() => window.axe.run(document));
        assert.deepEqual(
          violations.map((v) => `${v.id}: ${v.nodes.map((n) => n.html.slice(0, 80))}`),
          [],
        );
        assert.deepEqual(wrong, []);
        await page.screenshot({
          path: join(WORK, `${file}-${width}-${look.replace(' ', '-')}.png`),
          fullPage: true,
        });
        await close();
      });
    }
  }
  test(`${file} on paper`, async () => {
    const { page, close } = await opened(path, { viewport: { width: 1280, height: 900 } });
    const pdf = await page.pdf({ format: 'A4', printBackground: true });
    assert.ok(pdf.length > 10000);
    writeFileSync(join(WORK, `${file}.pdf`), pdf);
    await page.emulateMedia({ media: 'print' });
    await page.setViewportSize({ width: 720, height: 1000 });
    const wider = await page.evaluate(
      () => document.documentElement.scrollWidth > window.innerWidth,
    );
    assert.equal(wider, false, 'a page of paper is too narrow');
    const shown = await page.evaluate(
      () => [...document.querySelectorAll('.on-phone')].filter((e) => e.offsetWidth > 0).length,
    );
    assert.equal(shown, 0);
    await close();
  });
}
