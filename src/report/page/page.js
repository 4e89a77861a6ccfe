// The page at work: wheel, pointers and keys move the picture; then everything begins. Without
// scripts the page shows the still picture and the first rows of each table.
'use strict';

const tables = {};
const pointers = new Map();
let moved = 0,
  pinch = null,
  last = null;
const placeIn = (event) => {
  const box = canvas.getBoundingClientRect();
  return { x: event.clientX - box.left, y: event.clientY - box.top };
};

on(
  canvas,
  'wheel',
  (event) => {
    const unit = event.deltaMode === 1 ? 16 : 1,
      span = spanOf(view);
    const sideways = event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY);
    const turned = (sideways && event.deltaX ? event.deltaX : event.deltaY) * unit;
    // Where there is no more to see, the page scrolls as ever.
    if (!sideways && turned > 0 && span >= END) return;
    event.preventDefault();
    const factor = Math.exp(Math.max(Math.min(turned, 240), -240) * 0.004);
    look(
      sideways
        ? panned(view, (turned / width) * span, END)
        : zoomed(view, factor, secondsAt(placeIn(event).x), END),
    );
  },
  { passive: false },
);

on(canvas, 'pointerdown', (event) => {
  canvas.setPointerCapture(event.pointerId);
  pointers.set(event.pointerId, placeIn(event));
  if (pointers.size === 1) moved = 0;
  if (pointers.size === 2) {
    const [a, b] = [...pointers.values()];
    pinch = { from: secondsAt(a.x), to: secondsAt(b.x) };
  }
});
on(canvas, 'pointermove', (event) => {
  const now = placeIn(event),
    before = pointers.get(event.pointerId);
  if (!before) {
    const hit = found(now.x, now.y);
    tell(hit || picked);
    return;
  }
  pointers.set(event.pointerId, now);
  moved += Math.abs(now.x - before.x) + Math.abs(now.y - before.y);
  if (pointers.size === 1) {
    look(panned(view, ((before.x - now.x) / width) * spanOf(view), END));
  } else if (pinch) {
    // What is under each finger stays under it.
    const [a, b] = [...pointers.values()],
      perPixel = (pinch.to - pinch.from) / (b.x - a.x);
    if (Math.abs(a.x - b.x) < 8 || !(perPixel > 0)) return;
    const from = pinch.from - (a.x - left) * perPixel;
    look(clamped({ from, to: from + perPixel * width }, END));
  }
});
// A click goes to the row; a tap shows the facts, and a second one on the same goes to the row.
const lifted = (event) => {
  const at = pointers.get(event.pointerId);
  pointers.delete(event.pointerId);
  if (pointers.size < 2) pinch = null;
  if (event.type !== 'pointerup' || !at || moved >= 6) return;
  const hit = found(at.x, at.y),
    again = JSON.stringify(hit && factsOf(hit)[2]);
  pick(hit);
  if (hit && (event.pointerType === 'mouse' || again === last)) goToRow(hit);
  last = again;
};
on(canvas, 'pointerup', lifted);
on(canvas, 'pointercancel', lifted);
on(canvas, 'pointerleave', () => tell(picked));
on(canvas, 'focus', () => {
  if (!picked && canvas.matches(':focus-visible')) change(0);
});

const middle = () => (view.from + view.to) / 2;
const pan = (share) => look(panned(view, spanOf(view) * share, END));
const zoom = (factor) => look(zoomed(view, factor, middle(), END));
const KEYS = {
  ArrowLeft: () => pan(-1 / 8),
  ArrowRight: () => pan(1 / 8),
  ArrowUp: () => change(-1),
  ArrowDown: () => change(1),
  Home: () => look(panned(view, -END, END)),
  End: () => look(panned(view, END, END)),
  '+': () => zoom(0.6),
  '-': () => zoom(1 / 0.6),
  0: () => look({ from: 0, to: END }),
  '.': () => step(1),
  ',': () => step(-1),
  Enter: () => goToRow(picked),
};
KEYS['='] = KEYS['+'];
for (const target of [canvas, minimap]) {
  on(target, 'keydown', (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || !KEYS[event.key]) return;
    event.preventDefault();
    KEYS[event.key]();
  });
}

const goTo = (event) => {
  const share = (event.clientX - minimap.getBoundingClientRect().left - left) / width;
  look(panned(view, share * END - middle(), END));
};
on(minimap, 'pointerdown', (event) => {
  minimap.setPointerCapture(event.pointerId);
  goTo(event);
});
on(minimap, 'pointermove', (event) => {
  if (minimap.hasPointerCapture(event.pointerId)) goTo(event);
});

// ---- begin

on($('in'), 'click', KEYS['+']);
on($('out'), 'click', KEYS['-']);
on($('all'), 'click', KEYS[0]);
on($('sliced'), 'change', () => {
  const whole = spanOf(view) >= END;
  state.sliced = $('sliced').checked ? '1' : '';
  if (whole) state.place = '';
  begin();
  map = null;
  redraw();
});

// What colours, heights and marks mean, drawn as the picture draws them.
const legend = element('ul', { class: 'legend live-only' });
function drawLegend() {
  const sample = (words, draws) => {
    const swatch = element('canvas', { 'aria-hidden': 'true' });
    legend.append(element('li', {}, swatch, ` ${words}`));
    swatch.style.width = '26px';
    draws(size(swatch, 26, 16));
  };
  legend.replaceChildren();
  D.filaments.forEach((f, n) =>
    sample(`${f.letter} ${filament(f.tool)}`, (c) => {
      fill(c, hatch(c, n), 0, 1, 26, 14);
    }),
  );
  KINDS.forEach((name, n) => sample(name, (c) => drawParked(c, n, 2, 24, 15)));
  const bar = (colour, tall) => (c) => {
    fill(c, colour, 2, 6, 22, tall);
  };
  sample('the machine waits', bar(ink.wait, 4));
  sample('step sequence', bar(ink.soft, 3));
  if (D.away[0]) {
    sample('away', (c) => {
      fill(c, ink.away, 2, 0, 22, 16);
      rule(c, 2, 0, 2, 16, ink.soft, 1, [2, 4]);
    });
  }
  for (const kind of ['toolhead', 'filament', 'both', 'redundant']) {
    const i = C.kind.indexOf(kind);
    if (i >= 0) sample(`change: ${kind}`, (c) => drawTick(c, i, 13, 0));
  }
}

function fresh() {
  readColours();
  drawLegend();
  redraw();
}
function fromFragment() {
  state = stateOf(location.hash);
  begin();
  map = null;
  $('sliced').checked = showSliced();
  picked = pickOf(state.pick);
  tell(picked);
  for (const table of Object.values(tables)) table.restore();
  redraw();
}

document.documentElement.classList.add('live');
canvas.setAttribute('aria-roledescription', 'timeline');
minimap.after(place);
facts.after(legend);
for (const [id, args] of Object.entries(TABLES)) if ($(id)) tables[id] = tableOf(id, ...args);
for (const query of ['(prefers-color-scheme: dark)', '(forced-colors: active)']) {
  on(matchMedia(query), 'change', fresh);
}
on(window, 'resize', fresh);
on(window, 'hashchange', fromFragment);
readColours();
drawLegend();
fromFragment();
cancelAnimationFrame(dirty);
draw();
