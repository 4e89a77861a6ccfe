// The tables under the picture: sorted, filtered, summed up. Only rows that are seen are in the tree.
'use strict';

// `columns`: { key, name, show, number, choices, least }; `only`: the rows that it is about.
function tableOf(id, data, only, columns, sums, jump) {
  const box = $(id);
  const name = box.getAttribute('data-name');
  const body = element('tbody');
  const heads = element('tr', { 'aria-rowindex': 1 });
  const table = element('table', { 'aria-label': name }, element('thead', {}, heads), body);
  const region = { class: 'rows', tabindex: 0, role: 'region', 'aria-label': `${name}: rows` };
  const frame = element('div', region, table);
  const total = element('p', { class: 'total', role: 'status' });
  const filters = element('div', { class: 'filters' });
  const inputs = {};
  let rows = [];
  let order = '';
  let first = -1;
  let marked = -1;
  let tall = 29;

  function input(key, control, before, after) {
    control.id = `${id}-${key}`;
    inputs[key] = control;
    on(control, 'input', want);
    filters.append(element('label', {}, before, control, after));
  }
  const ticked = (control) => control.type === 'checkbox';

  // What the inputs say, into the fragment, and shown.
  function want() {
    for (const [key, control] of Object.entries(inputs)) {
      state[`${id}.${key}`] = ticked(control) ? (control.checked ? '1' : '') : control.value;
    }
    keep();
    refresh();
  }

  // As the fragment says.
  function restore() {
    for (const [key, control] of Object.entries(inputs)) {
      const value = state[`${id}.${key}`] || '';
      if (ticked(control)) control.checked = value === '1';
      else control.value = control.min && !(value < 1e9) ? '' : value;
      if (control.selectedIndex < 0) control.value = '';
    }
    order = state[`${id}.sort`] || '';
    refresh();
  }

  function clear() {
    for (const key of Object.keys(inputs)) delete state[`${id}.${key}`];
    keep();
    restore();
  }

  function refresh() {
    const wanted = {};
    for (const [key, { value, options }] of Object.entries(inputs)) {
      if (key === 'shown' || value === '') continue;
      const number = typeof data[key][0] === 'number';
      wanted[key] = options ? new Set([number ? +value : value]) : { least: +value };
    }
    rows = filtered(data, only, wanted);
    if (inputs.shown.checked) {
      const to = data.to_s || data.at_s,
        from = data.from_s || to;
      rows = rows.filter((i) => to[i] >= view.from && from[i] <= view.to);
    }
    const key = order.replace('-', ''),
      down = order !== key;
    for (const th of heads.children) {
      th.removeAttribute('aria-sort');
      if (th.getAttribute('data-key') !== key) continue;
      th.setAttribute('aria-sort', down ? 'descending' : 'ascending');
      rows = sorted(rows, data[key], down);
    }
    const summed = sums.map(([of, words]) => `${lasting(sum(rows, data[of]))} ${words}`);
    total.textContent = [`${rows.length} of ${only.length} rows`, ...summed].join(' · ');
    table.setAttribute('aria-rowcount', rows.length + 1);
    first = -1;
    fill();
  }

  function cells(i) {
    return columns.map(({ key, show, number }, n) => {
      const value = data[key][i],
        text = value == null ? '' : (show || String)(value);
      if (n > 0) return element('td', { class: number ? 'n' : '' }, text);
      const button = element('button', { type: 'button' }, text);
      on(button, 'click', () => jump(i));
      return element('td', {}, button);
    });
  }
  const button = (i) => body.querySelector(`[data-row="${i}"] button`);

  function filler(n) {
    const cell = element('td', { colspan: columns.length });
    cell.style.height = `${n * tall}px`;
    return element('tr', { class: 'filler', 'aria-hidden': true }, cell);
  }

  function fill() {
    const now = Math.max(Math.floor(frame.scrollTop / tall) - 6, 0);
    if (now === first) return;
    first = now;
    const last = Math.min(first + Math.ceil(frame.clientHeight / tall) + 12, rows.length);
    const focus = document.activeElement.closest('[data-row]');
    const focused = body.contains(focus) ? focus.getAttribute('data-row') : '';
    const shown = rows.slice(first, last).map((i, k) => {
      const mark = i === marked ? 'marked' : '';
      return element(
        'tr',
        { 'aria-rowindex': first + k + 2, 'data-row': i, class: mark },
        ...cells(i),
      );
    });
    if (first > 0) shown.unshift(filler(first));
    if (last < rows.length) shown.push(filler(rows.length - last));
    body.replaceChildren(...shown);
    if (focused) (button(focused) || frame).focus({ preventScroll: true });
  }

  // Brings a row into sight, without filters where they hide it.
  function show(i) {
    if (!rows.includes(i)) clear();
    marked = i;
    frame.scrollIntoView({ block: 'nearest' });
    frame.scrollTop = Math.max(rows.indexOf(i) * tall - 60, 0);
    first = -1;
    fill();
    if (button(i)) button(i).focus({ preventScroll: true });
  }

  for (const { key, name: words, show: text = String, number, choices, least } of columns) {
    const sorter = element('button', { type: 'button' }, words);
    on(sorter, 'click', () => {
      order = state[`${id}.sort`] = order === key ? `-${key}` : key;
      keep();
      refresh();
    });
    heads.append(
      element('th', { scope: 'col', class: number ? 'n' : '', 'data-key': key }, sorter),
    );
    if (choices) {
      const values = [...new Set(only.map((i) => data[key][i]))];
      const options = sorted(
        values.map((_, i) => i),
        values,
      ).map((i) => values[i]);
      const option = (value, shown) => element('option', { value }, shown);
      const all = options.map((value) => option(value, text(value) || 'none'));
      input(key, element('select', {}, option('', 'all'), ...all), `${choices} `, '');
    } else if (least) {
      const control = element('input', { type: 'number', min: 0, step: 'any' });
      input(key, control, `${words} at least `, ' s');
    }
  }
  input('shown', element('input', { type: 'checkbox' }), '', ' only what the picture shows');
  const everything = element('button', { type: 'button' }, 'all rows');
  on(everything, 'click', clear);
  const link = element('a', { download: `${id}.csv`, href: '#' }, 'CSV of these rows');
  const linked = () => {
    const named = { ...data, toolhead: data.toolhead.map(headName) };
    const csv = csvOf(
      columns.map(({ key }) => key),
      named,
      rows,
    );
    link.href = `data:text/csv;charset=utf-8,${encodeURIComponent(csv)}`;
  };
  for (const event of ['pointerdown', 'focus', 'click']) on(link, event, linked);
  filters.append(everything, link);
  box.append(filters, total, frame);
  on(frame, 'scroll', fill);
  restore();
  if (body.firstChild) tall = body.firstChild.offsetHeight;
  return { show, restore, moved: () => inputs.shown.checked && refresh() };
}

// From a row to its place in the picture.
function jumpTo(head, from, to, row, use) {
  lookAt(from, to);
  if (head < 0) return;
  pick(stretchOfRow(head, row, use));
  canvas.scrollIntoView({ block: 'nearest' });
  canvas.focus({ preventScroll: true });
}

const time = (key, name) => ({ key, name, show: when });
const length = (key, name) => ({ key, name, show: lasting, number: true });
const wait = { ...length('wait_s', 'wait'), least: true };
const toolhead = { key: 'toolhead', name: 'toolhead', show: headName, choices: 'toolhead' };
const count = (key) => ({ key, name: key, number: true });
const all = (column) => column.map((_, i) => i);
const choice = (key) => ({ key, name: key, choices: key });
const ofChanges = [
  time('at_s', 'at'),
  count('layer'),
  count('line'),
  toolhead,
  { key: 'out_tool', name: 'from', show: filament },
  { key: 'to_tool', name: 'to', show: filament, choices: 'filament' },
  length('exchange_s', 'exchange'),
  wait,
];
const sums = [
  ['exchange_s', 'of exchanges'],
  ['wait_s', 'of waiting'],
];
const toChange = (i) => jumpTo(C.toolhead[i], C.at_s[i], C.at_s[i] + 60, i, true);

// What it is made of, the rows, their columns, what is summed up, and where a row leads.
const TABLES = {
  gaps: [
    G,
    all(G.from_s),
    [
      time('from_s', 'from'),
      time('to_s', 'to'),
      toolhead,
      { key: 'to_tool', name: 'filament', show: filament, choices: 'filament' },
      choice('treatment'),
      { key: 'dip_c', name: 'dip', show: degrees, number: true },
      time('preheat_at_s', 'preheat'),
      wait,
      { ...length('hot_idle_s', 'hot idle'), least: true },
      { key: 'reason', name: 'reason' },
    ],
    [sums[1], ['hot_idle_s', 'of hot idle']],
    (i) => jumpTo(G.toolhead[i], G.from_s[i], G.to_s[i], i, false),
  ],
  changes: [C, all(C.at_s), [ofChanges[0], choice('kind'), ...ofChanges.slice(1)], sums, toChange],
  exchanges: [C, all(C.at_s).filter((i) => C.exchange_s[i] > 0), ofChanges, sums, toChange],
};
