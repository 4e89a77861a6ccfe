// A browser for the tests of pages, and what they share. In the environment: FOREWARM (the program),
// SOURCES (the tree), WORK (a folder for pages and screenshots), FOREWARM_MODULES (tests/page/modules
// says which), CHROMIUM.
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { mkdirSync, readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import { after, before } from 'node:test';

export const { FOREWARM, SOURCES, WORK } = process.env;
const { FOREWARM_MODULES, CHROMIUM = '/usr/bin/chromium' } = process.env;
export const modules = createRequire(join(FOREWARM_MODULES, 'x.js'));
const { chromium } = modules('playwright-core');
export const axe = readFileSync(join(FOREWARM_MODULES, 'node_modules/axe-core/axe.min.js'), 'utf8');
mkdirSync(WORK, { recursive: true });

export const DEMO = join(SOURCES, 'fixtures/trail_map.gcode');
export const RULES = join(SOURCES, 'config/demo.toml');
export const CLOCK = ['--start', '2026-05-01T18:00', '--away', '22:00-07:00'];

export function forecast(name, job, rules, ...options) {
  const html = join(WORK, `${name}.html`);
  const json = join(WORK, `${name}.json`);
  const reports = ['--html', html, '--json', json];
  execFileSync(FOREWARM, ['forecast', '-q', '--rules', rules, ...options, ...reports, job]);
  return { html, json: JSON.parse(readFileSync(json, 'utf8')) };
}

export let browser;
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
export async function opened(html, { fragment = '', ...context } = {}) {
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
export const viewOf = (page) => page.evaluate('[view.from, view.to]');
export const total = (page, id) => page.locator(`#${id} .total`).textContent();
// What is beyond the window cannot be pointed at.
export const inSight = (page) => page.evaluate('canvas.scrollIntoView()');
export const frames = (page) =>
  page.evaluate('new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r)))');
export const fragment = async (page) => {
  await page.waitForTimeout(250);
  return new URL(page.url()).hash;
};
export const rowsIn = (page, id) => page.locator(`#${id} tbody tr[data-row]`);
export const columnOf = (page, id, n) =>
  page.locator(`#${id} tbody tr[data-row] td:nth-child(${n})`).allTextContents();
// Seconds as the page writes them.
export const lasting = (page, s) => page.evaluate(`lasting(${s})`);

// The demo job's page, with a clock and without.
export const demoPage = () => forecast('demo', DEMO, RULES, ...CLOCK);
export const plainPage = () => forecast('plain', DEMO, RULES);
