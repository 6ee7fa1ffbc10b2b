// @ts-check
// Forms and buttons of the office and the owner. A form says in `data-` attributes which request it is; its fields are
// named by JSON pointers. Faults are written beside the field they belong to.

import { call, newId } from './api.js';

/** @param {Record<string, any>} body @param {string} pointer @param {any} value */
function put(body, pointer, value) {
  const parts = pointer.split('/').slice(1);
  /** @type {any} */
  let here = body;
  parts.forEach((part, at) => {
    if (at === parts.length - 1) here[part] = value;
    else here = here[part] ??= /^\d+$/.test(parts[at + 1]) ? [] : {};
  });
}

/** What a form says, as JSON. Empty fields are left out. @param {HTMLFormElement} form */
function read(form) {
  /** @type {Record<string, any>} */
  const body = {};
  for (const field of form.querySelectorAll('[name^="/"]')) {
    const input = /** @type {HTMLInputElement} */ (field);
    const text = input.value.trim();
    if (input.type === 'checkbox') put(body, input.name, input.checked);
    else if (text === '') continue;
    else if (input.dataset.kind === 'list') put(body, input.name, text.split(/[\s,]+/));
    else if (input.dataset.kind === 'number') put(body, input.name, Number(text));
    else put(body, input.name, text);
  }
  return body;
}

/** @param {HTMLFormElement} form @param {import('./api.js').Problem | null} problem */
function tell(form, problem) {
  for (const old of form.querySelectorAll('.fault')) old.textContent = '';
  const general = /** @type {HTMLElement} */ (form.querySelector('.fault[data-general]'));
  if (problem === null) return void (general.textContent = 'The server does not answer. Nothing was changed; try again.');
  const rest = [];
  for (const error of problem.errors ?? []) {
    const pointer = (error.pointer ?? '').slice(1);
    const field = [...form.querySelectorAll('[name]')].find((one) => one.getAttribute('name') === pointer);
    const place = field && form.querySelector(`#fault-${CSS.escape(field.id)}`);
    if (place) place.textContent = error.detail;
    else rest.push(`${pointer} ${error.detail}`);
  }
  general.textContent = [(problem.errors ?? []).length > 0 ? problem.title : problem.detail, ...rest].join('. ');
}

for (const form of /** @type {NodeListOf<HTMLFormElement>} */ (document.querySelectorAll('form[data-path]'))) {
  // One key for one filled-in form: pressed twice, or sent again after a lost reply, it is done once.
  let key = newId();
  form.addEventListener('input', () => (key = newId()));
  form.addEventListener('submit', async (event) => {
    event.preventDefault();
    const { method = 'POST', path = '', version, to } = form.dataset;
    /** @type {Record<string, string>} */
    const headers = method === 'POST' ? { 'idempotency-key': key } : {};
    if (version !== undefined) headers['if-match'] = `"v${version}"`;
    const answer = await call(method, path.replace('{new}', newId()), read(form), headers);
    if (answer.problem !== null || answer.status === 0) return tell(form, answer.problem);
    location.assign(to?.replace('{id}', answer.body?.id ?? '') ?? location.href);
  });
}

for (const button of /** @type {NodeListOf<HTMLButtonElement>} */ (document.querySelectorAll('button[data-print]'))) {
  button.addEventListener('click', () => print());
}
