// The words of a G-code file, as another parser (the npm package gcode-parser) reads them; for comparing our lexer.
//
//   npm ci && node words.mjs FILE     (no FILE or -: stdin)
//
// Canonical form: one output line for each input line, also for blank ones; an input line ends in LF, and a CR before the
// LF is not part of it; text after the last LF is one more line, nothing after it is none. On the line its words in
// their order, LETTER=VALUE, with single spaces between and none at the end:
//   - the letter is in upper case;
//   - the value is a double, written as JavaScript's Number does: the shortest digits that read back the same, no point in
//     a whole number ("G=1 X=0.5 Y=-12 F=12000"), -0 as 0; digits with an exponent only below 1e-6 ("E=5e-7") or from 1e21;
//   - every N word (also the parameter of M110), the '*' checksum and all comments are left out;
//   - a letter with no number after it (G28 X, M84 X Y) is left out, since gcode-parser drops it;
//   - a line that holds only a comment, or whose first two characters, after / and a line number, are letters or '_'
//     (an extended command, NAME KEY=VALUE), gives an empty line. Block delete "/" is dropped and the rest of the line read.
//
// Output is the plain words above for everything our fixtures hold. How gcode-parser 2.2.0 differs from what a job means:
//   - Lower case: letters are raised. Spaces: all removed before reading, as RS274/NGC asks (g0x +0. 12 34y 7 is X=0.1234).
//   - Exponents are not read: X1e3 gives X=1 E=3, which is right here, where e is a word.
//   - ( ) comments anywhere on the line are removed, and they nest: (a (b) c) is one comment, where RS274/NGC ends it at
//     the first ')'. An unclosed '(' swallows the rest of the line. A ';' inside ( ) does not start a comment.
//   - Line number: the first N becomes `ln`, a later N (N0 M110 N0) stays a word; we drop both. N needs no space after it.
//   - Checksum: read as `cs`, and compared over everything before the LAST '*' of the line, comment included; so
//     "T0*57 ; see * here" is called wrong, and a checksum of 0 is never compared. We do not use its verdict.
//   - No message commands: M117 Part 2 gives M=117 T=2, and extended commands leak words from their values; the latter are
//     emptied above, the former a lexer has to be excused from.
//   - A lone point (X.) or a malformed number (X1-2) is kept as text; here it is printed as it stands: "X=."
//   - % { } and $ lines are other controllers' commands and give no words.
import { createReadStream } from 'node:fs';
import parser from 'gcode-parser';

const extended = /^[\s/]*(?:[Nn]\s*\d+\s*)?[A-Za-z_]{2}/;

function words(line) {
  if (extended.test(line)) return '';
  return parser.parseLine(line).words
    .filter(([letter]) => letter !== 'N' && letter !== '*')
    .map(([letter, value]) => `${letter}=${Object.is(value, -0) ? 0 : value}`)
    .join(' ');
}

const path = process.argv[2] ?? '-';
const input = path === '-' ? process.stdin : createReadStream(path);
input.setEncoding('latin1');        // a byte is a character, so no comment can break the reading
input.on('error', (error) => { console.error(error.message); process.exit(4); });
process.stdout.on('error', () => process.exit(0));

let rest = '';
for await (const chunk of input) {
  const lines = (rest + chunk).split('\n');
  rest = lines.pop();
  if (lines.length) process.stdout.write(lines.map((l) => words(l.replace(/\r$/, '')) + '\n').join(''));
}
if (rest) process.stdout.write(words(rest.replace(/\r$/, '')) + '\n');
