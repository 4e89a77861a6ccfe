// The tables under the picture: sorted, filtered, summed up. Only rows that are seen are in the tree.
'use strict';

class Rows {
  // `columns`: { key, name, show, number, choices, least }; `only`: the rows that it is about.
  constructor(id, data, only, columns, sums, jump) {
    Object.assign(this, { id, data, columns, sums, jump, tall: 29, rows: [], marked: -1 });
    const box = $(id);
    this.only = only;
    this.name = box.getAttribute('data-name') || id;
    this.body = element('tbody');
    this.heads = element('tr', { 'aria-rowindex': 1 });
    for (const column of columns) {
      const button = element('button', { type: 'button' }, column.name);
      on(button, 'click', () => this.sortBy(column.key));
      this.heads.append(
        element(
          'th',
          { scope: 'col', class: column.number ? 'n' : '', 'data-key': column.key },
          button,
        ),
      );
    }
    this.table = element(
      'table',
      { 'aria-label': this.name },
      element('thead', {}, this.heads),
      this.body,
    );
    this.frame = element(
      'div',
      { class: 'rows', tabindex: 0, role: 'region', 'aria-label': `${this.name}: rows` },
      this.table,
    );
    on(this.frame, 'scroll', () => this.fill());
    this.total = element('p', { class: 'total', role: 'status' });
    box.append(this.filters(), this.total, this.frame);
    this.restore();
  }

  filters() {
    const box = element('div', { class: 'filters' });
    this.inputs = {};
    const add = (key, input, before, after) => {
      input.id = `${this.id}-${key}`;
      this.inputs[key] = input;
      on(input, 'input', () => this.want());
      box.append(element('label', {}, before, input, after || ''));
    };
    for (const column of this.columns) {
      const show = column.show || String;
      if (column.choices) {
        const values = [...new Set(this.only.map((i) => this.data[column.key][i]))];
        const all = sorted(
          values.map((_, i) => i),
          values,
          false,
        ).map((i) => values[i]);
        const option = (value, words) => element('option', { value }, words);
        add(
          column.key,
          element(
            'select',
            {},
            option('', 'all'),
            ...all.map((value) => option(value, show(value) || 'none')),
          ),
          `${column.choices} `,
        );
      } else if (column.least) {
        add(
          column.key,
          element('input', { type: 'number', min: 0, step: 'any' }),
          `${column.name} at least `,
          ' s',
        );
      }
    }
    add('shown', element('input', { type: 'checkbox' }), '', ' only what the picture shows');
    const all = element('button', { type: 'button' }, 'all rows');
    on(all, 'click', () => this.clear());
    const link = element('a', { download: `${this.id}.csv`, href: '#' }, 'CSV of these rows');
    for (const kind of ['pointerdown', 'focus', 'click']) {
      on(link, kind, () => {
        link.href = `data:text/csv;charset=utf-8,${encodeURIComponent(this.csv())}`;
      });
    }
    box.append(all, link);
    return box;
  }

  csv() {
    const keys = this.columns.map((column) => column.key);
    const columns = { ...this.data, toolhead: this.data.toolhead.map(headName) };
    return csvOf(keys, columns, this.rows);
  }

  // What the inputs say, into the fragment, and shown.
  want() {
    for (const [key, input] of Object.entries(this.inputs)) {
      state[`${this.id}.${key}`] =
        input.type === 'checkbox' ? (input.checked ? '1' : '') : input.value;
    }
    keep();
    this.refresh();
  }

  // As the fragment says.
  restore() {
    for (const [key, input] of Object.entries(this.inputs)) {
      const value = state[`${this.id}.${key}`] || '';
      if (input.type === 'checkbox') input.checked = value === '1';
      else input.value = value;
      if (input.value === '' && input.tagName === 'SELECT') input.selectedIndex = 0;
    }
    const order = state[`${this.id}.sort`] || '',
      key = order.replace(/^-/, '');
    const known = this.columns.some((column) => column.key === key);
    this.order = { key: known ? key : '', down: order[0] === '-' };
    this.refresh();
  }

  clear() {
    for (const key of Object.keys(this.inputs)) delete state[`${this.id}.${key}`];
    keep();
    this.restore();
  }

  sortBy(key) {
    this.order = { key, down: this.order.key === key && !this.order.down };
    state[`${this.id}.sort`] = (this.order.down ? '-' : '') + key;
    keep();
    this.refresh();
  }

  refresh() {
    const wanted = {},
      data = this.data;
    for (const [key, input] of Object.entries(this.inputs)) {
      if (key === 'shown' || input.value === '') continue;
      const number = typeof data[key][0] === 'number';
      wanted[key] =
        input.tagName === 'SELECT'
          ? new Set([number ? +input.value : input.value])
          : { least: +input.value };
    }
    this.rows = filtered(data, this.only, wanted);
    if (this.inputs.shown.checked) {
      const from = data.from_s || data.at_s,
        to = data.to_s || data.at_s;
      this.rows = this.rows.filter((i) => to[i] >= view.from && from[i] <= view.to);
    }
    if (this.order.key) this.rows = sorted(this.rows, data[this.order.key], this.order.down);
    for (const th of this.heads.children) {
      const on = th.getAttribute('data-key') === this.order.key;
      if (on) th.setAttribute('aria-sort', this.order.down ? 'descending' : 'ascending');
      else th.removeAttribute('aria-sort');
    }
    const sums = this.sums.map(([key, words]) => `${lasting(sum(this.rows, data[key]))} ${words}`);
    this.total.textContent = [`${this.rows.length} of ${this.only.length} rows`, ...sums].join(
      ' · ',
    );
    this.table.setAttribute('aria-rowcount', this.rows.length + 1);
    this.first = -1;
    this.fill();
  }

  cells(i) {
    return this.columns.map((column, n) => {
      const value = this.data[column.key][i],
        show = column.show || String;
      const text = value == null ? '' : show(value);
      if (n > 0) return element('td', { class: column.number ? 'n' : '' }, text);
      const button = element('button', { type: 'button' }, text);
      on(button, 'click', () => this.jump(i));
      return element('td', {}, button);
    });
  }

  fill() {
    const first = Math.max(Math.floor(this.frame.scrollTop / this.tall) - 6, 0);
    if (first === this.first) return;
    this.first = first;
    const last = Math.min(
      first + Math.ceil(this.frame.clientHeight / this.tall) + 12,
      this.rows.length,
    );
    const focus = document.activeElement.closest('[data-row]');
    const focused = this.body.contains(focus) ? focus.getAttribute('data-row') : '';
    const filler = (n) => {
      const cell = element('td', { colspan: this.columns.length });
      cell.style.height = `${n * this.tall}px`;
      return element('tr', { class: 'filler', 'aria-hidden': 'true' }, cell);
    };
    const out = first > 0 ? [filler(first)] : [];
    this.rows.slice(first, last).forEach((i, k) => {
      out.push(
        element(
          'tr',
          {
            'aria-rowindex': first + k + 2,
            'data-row': i,
            class: i === this.marked ? 'marked' : '',
          },
          ...this.cells(i),
        ),
      );
    });
    if (last < this.rows.length) out.push(filler(this.rows.length - last));
    this.body.replaceChildren(...out);
    if (focused) (this.button(focused) || this.frame).focus({ preventScroll: true });
  }

  button(i) {
    return this.body.querySelector(`[data-row="${i}"] button`);
  }

  // Brings a row into sight, without filters where they hide it.
  show(i) {
    if (!this.rows.includes(i)) this.clear();
    this.marked = i;
    this.frame.scrollIntoView({ block: 'nearest' });
    this.frame.scrollTop = Math.max(this.rows.indexOf(i) * this.tall - 60, 0);
    this.first = -1;
    this.fill();
    const button = this.button(i);
    if (button) button.focus({ preventScroll: true });
  }
}

// From a row to its place in the picture.
function jumpTo(head, from, to) {
  lookAt(from, to);
  if (head < 0) return;
  pick(stretchOf(head, Math.min((from + to) / 2, END), false));
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
  { key: 'from_tool', name: 'from', show: filament },
  { key: 'to_tool', name: 'to', show: filament, choices: 'filament' },
  length('exchange_s', 'exchange'),
  wait,
];
const sums = [
  ['exchange_s', 'of exchanges'],
  ['wait_s', 'of waiting'],
];
const toChange = (i) => jumpTo(C.toolhead[i], C.at_s[i], C.at_s[i] + 60);

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
    (i) => jumpTo(G.toolhead[i], G.from_s[i], G.to_s[i]),
  ],
  changes: [C, all(C.at_s), [choice('kind'), ...ofChanges], sums, toChange],
  exchanges: [C, all(C.at_s).filter((i) => C.exchange_s[i] > 0), ofChanges, sums, toChange],
};
