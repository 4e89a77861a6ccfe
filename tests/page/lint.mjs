// Holds the page's scripts and styles, and what tests them, to one format, and the scripts to ESLint's
// rules. They run one after the other in one scope, so they are looked at as one.
// Usage: lint.mjs [--write]
import { readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

const modules = createRequire(join(process.env.FOREWARM_MODULES, 'x.js'));
const { Linter } = modules('eslint');
const prettier = modules('prettier');
const js = modules('@eslint/js');

const here = fileURLToPath(new URL('.', import.meta.url));
const sources = join(here, '../../src/report/page');
const FORMAT = { printWidth: 100, singleQuote: true };
const RULES = {
  ...js.configs.recommended.rules,
  eqeqeq: ['error', 'always', { null: 'ignore' }],
  'no-redeclare': 'error',
  'no-var': 'error',
  'prefer-const': 'error',
};
const BROWSER = [
  'Event',
  'DOMMatrix',
  'URLSearchParams',
  'cancelAnimationFrame',
  'clearTimeout',
  'devicePixelRatio',
  'document',
  'getComputedStyle',
  'history',
  'location',
  'matchMedia',
  'requestAnimationFrame',
  'scrollY',
  'setTimeout',
  'window',
];
const NODE = ['URL', 'console', 'process', 'performance', 'setTimeout', 'Buffer'];
const globals = (names) => Object.fromEntries(names.map((name) => [name, 'readonly']));

let wrong = 0;
function say(file, line, words) {
  console.log(`${file}:${line}: ${words}`);
  wrong += 1;
}
function rules(parts, sourceType, names) {
  const found = new Linter().verify(parts.map((part) => part.text).join(''), {
    languageOptions: { ecmaVersion: 2022, sourceType, globals: globals(names) },
    rules: RULES,
  });
  for (const { line, message, ruleId } of found) {
    let first = 1;
    const part = parts.find(({ text }) => {
      const lines = text.split('\n').length - 1;
      if (line < first + lines) return true;
      first += lines;
      return false;
    });
    say(part ? part.path : parts[0].path, line - first + 1, `${message} (${ruleId})`);
  }
}

const read = (path) => ({ path, text: readFileSync(path, 'utf8') });
// In the order in which they are embedded.
const embedded = /foreach\(part ([\w ]+)\)/.exec(
  readFileSync(join(sources, 'embed.cmake'), 'utf8'),
)[1];
const parts = embedded.split(' ').map((name) => read(join(sources, `${name}.js`)));
const tests = readdirSync(here)
  .filter((name) => name.endsWith('.mjs'))
  .map((name) => read(join(here, name)));
const styles = readdirSync(sources)
  .filter((name) => name.endsWith('.css'))
  .map((name) => read(join(sources, name)));

for (const part of [...parts, ...tests, ...styles]) {
  const parser = part.path.endsWith('.css') ? 'css' : 'babel';
  const formatted = await prettier.format(part.text, { ...FORMAT, parser });
  if (formatted === part.text) continue;
  if (process.argv.includes('--write')) {
    writeFileSync(part.path, formatted);
    part.text = formatted;
  } else {
    const line =
      formatted.split('\n').findIndex((text, i) => text !== part.text.split('\n')[i]) + 1;
    say(part.path, line, 'is not formatted (tests/page/lint.mjs --write)');
  }
}
rules(parts, 'script', BROWSER);
for (const part of tests) rules([part], 'module', [...NODE, ...BROWSER]);
console.log(`eslint and prettier: ${parts.length + tests.length + styles.length} files`);
process.exit(wrong ? 1 : 0);
