// How quick a page is: bytes, first paint, frames while it is zoomed and moved at three zooms, and how
// long drawing takes. Usage: FOREWARM_MODULES=$(tests/page/modules) node tests/page/measure.mjs PAGE...
// Measure on a machine that does nothing else.
import { statSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join, resolve } from 'node:path';

const modules = createRequire(join(process.env.FOREWARM_MODULES, 'x.js'));
const { chromium } = modules('playwright-core');
const executablePath = process.env.CHROMIUM || '/usr/bin/chromium';
const browser = await chromium.launch({ executablePath, args: ['--no-sandbox', '--disable-gpu'] });

for (const file of process.argv.slice(2)) {
  const page = await browser.newPage({ viewport: { width: 1280, height: 900 } });
  await page.goto(`file://${resolve(file)}`);
  await page.waitForTimeout(500);
  const paint = await page.evaluate(
    `Math.round(performance.getEntriesByName('first-contentful-paint')[0].startTime)`,
  );
  console.log(`${file}: ${statSync(file).size} bytes, first paint after ${paint} ms`);
  for (const share of [1, 0.2, 0.02]) {
    const [frames, draws] = await page.evaluate(async (part) => {
      /* global view:writable, END, clamped, panned, zoomed, spanOf, redraw, draw, canvas */
      const frames = [];
      const draws = [];
      const move = (i) => {
        view = panned(view, spanOf(view) * 0.02 * Math.sin(i / 20), END);
        const middle = (view.from + view.to) / 2;
        view = zoomed(view, i % 2 ? 1.03 : 1 / 1.03, middle, END);
      };
      view = clamped({ from: END * 0.3, to: END * (0.3 + part) }, END);
      let before = 0;
      for (let i = 0; i < 300; ++i) {
        move(i);
        redraw();
        const now = await new Promise((done) => requestAnimationFrame(done));
        if (i > 1) frames.push(now - before);
        before = now;
      }
      for (let i = 0; i < 100; ++i) {
        move(i);
        const begun = performance.now();
        draw();
        // Waits until it is drawn.
        canvas.getContext('2d').getImageData(0, 0, 1, 1);
        draws.push(performance.now() - begun);
      }
      return [frames, draws];
    }, share);
    const at = (xs, p) => [...xs].sort((a, b) => a - b)[Math.floor(xs.length * p)].toFixed(1);
    const slow = frames.filter((ms) => ms >= 20).length;
    console.log(
      `  ${share * 100} % of the job: frames ${at(frames, 0.5)} ms, 95 of 100 within ` +
        `${at(frames, 0.95)} ms, ${slow} of ${frames.length} over 20 ms; drawing ` +
        `${at(draws, 0.5)} ms, ${at(draws, 0.95)} ms`,
    );
  }
  await page.close();
}
await browser.close();
