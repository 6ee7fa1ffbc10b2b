// @ts-check
// The technician's phone: enrol once, then today's stops, and the records that wait to be sent, always in sight.

import { mark, openPoints } from './answer.js';
import { call } from './api.js';
import { downloadDay, keptDay } from './day.js';
import { clock, h, heading, span } from './dom.js';
import { flush, keepTrying, onChange, queueState } from './queue.js';
import { refusedPage } from './refused.js';
import { forget, waiting } from './shelf.js';
import { stopPage } from './stop.js';

const main = /** @type {HTMLElement} */ (document.getElementById('main'));
const bar = /** @type {HTMLElement} */ (document.getElementById('queue'));

/** @param {...(Node | null)} nodes */
function show(...nodes) {
  main.replaceChildren(...nodes.filter((node) => node !== null));
  heading(main)?.focus();
}

async function drawQueue() {
  const items = await waiting();
  const refused = items.filter((item) => item.state === 'refused').length;
  const unsent = items.length - refused;
  const how = { idle: '', sending: ' Sending.', offline: ' No network; it goes by itself later.', signed_out: ' Enrol this phone again to send.' }[queueState()];
  const words = items.length === 0 ? '✓ Everything is sent.' : `● ${unsent} waiting.${how}`;
  const need = h('button', { type: 'button', class: 'pick', onclick: () => void showRefused() }, `▲ ${refused} need you`);
  bar.replaceChildren(h('span', {}, words), ...(refused > 0 ? [need] : []));
}

async function showRefused() {
  const items = (await waiting()).filter((item) => item.state === 'refused');
  show(await refusedPage(items, () => void showDay()));
}

async function showDay() {
  const day = await keptDay();
  if (!day) return showEnrol('');
  const sent = new Set((await waiting()).map((item) => item.record.visit_id));
  const stops = day.day.visits.map((/** @type {any} */ stop, /** @type {number} */ at) => {
    const decision = day.decisions[stop.visit.id];
    const done = stop.visit.status === 'done' || stop.recorded;
    const state = sent.has(stop.visit.id) ? '● waiting to be sent' : done ? '✓ recorded' : mark(decision);
    const points = done || sent.has(stop.visit.id) ? [] : openPoints(stop, decision);
    const open = async () => show(await stopPage(stop, decision, day, () => void showDay()));
    return h('li', {}, h('button', { type: 'button', class: 'stop-button', onclick: () => void open() },
      h('strong', {}, `${at + 1}. ${stop.property.address}`),
      h('span', {}, `${stop.client_name}: ${stop.sections.map((/** @type {any} */ section) => section.name).join(', ')}`),
      h('span', { class: `state ${done || sent.has(stop.visit.id) ? 'done' : (decision?.verdict ?? 'care')}` }, state),
      ...points.map((words) => h('span', { class: 'open-point' }, `▲ ${words}`))));
  });
  const age = `As of ${new Date(day.at).toLocaleDateString()} ${clock(day.at)}, by the server's clock.`;
  const wrong = Math.abs(day.skew) > 300_000 ? h('p', { class: 'caution' }, `This phone's clock is ${span(day.skew)} off; the server's time is used. Put it right when you can.`) : null;
  show(h('h1', {}, `Stops of ${weekday(day.day.day)}, `, h('span', { class: 'whole' }, day.day.day)), h('p', {}, `${day.me.person.name}. ${age}`), wrong,
    stops.length > 0 ? h('ol', { class: 'stops' }, ...stops) : h('p', {}, 'No stops are planned for you on this day.'),
    h('button', { type: 'button', class: 'plain', onclick: () => void refresh() }, 'Download the day again'),
    h('button', { type: 'button', class: 'plain', onclick: () => void signOut() }, 'Take my data off this phone'));
}

/** @param {string} day */
const weekday = (day) => new Date(`${day}T12:00:00Z`).toLocaleDateString('en-US', { weekday: 'long', timeZone: 'UTC' });

async function signOut() {
  const items = await waiting();
  if (items.length > 0) {
    show(h('h1', {}, 'Not yet'), h('p', { role: 'alert' }, `${items.length} ${items.length === 1 ? 'record is' : 'records are'} only on this phone. Send them first; until then they are kept.`),
      h('button', { type: 'button', class: 'big', onclick: () => void flush() }, 'Send now'), h('button', { type: 'button', class: 'plain', onclick: () => void showDay() }, 'Back'));
    return;
  }
  await call('DELETE', '/api/v1/sessions/current');
  await forget();
  showEnrol('');
}

async function refresh() {
  const how = await downloadDay();
  if (how === 'signed_out' && !(await keptDay())) return showEnrol('');
  await showDay();
}

/** @param {string} fault */
function showEnrol(fault) {
  const code = /** @type {HTMLInputElement} */ (h('input', { id: 'code', autocomplete: 'one-time-code', autocapitalize: 'characters', spellcheck: 'false' }));
  code.value = decodeURIComponent(location.hash.slice(1));
  const enrol = async (/** @type {Event} */ event) => {
    event.preventDefault();
    const name = navigator.userAgent.slice(0, 60).replace(/[^ -~]/g, ' ').trim();
    const answer = await call('POST', '/api/v1/devices', { code: code.value, name: `Phone: ${name}`, in_browser: true });
    if (answer.status !== 201) return showEnrol(answer.problem?.detail ?? 'There is no network. Enrolling needs one, once.');
    history.replaceState(null, '', location.pathname);
    await navigator.storage?.persist?.();
    await refresh();
  };
  show(h('h1', {}, 'Enrol this phone'), h('p', {}, 'Ask the office for a code. It is good for ten minutes and for one phone.'),
    h('form', { onsubmit: (/** @type {Event} */ event) => void enrol(event) }, h('label', { for: 'code' }, 'Code'), code, h('p', { role: 'alert', class: 'fault' }, fault), h('button', { class: 'big' }, 'Enrol')));
}

/** A browser that keeps nothing must not be worked with: a record would be lost with the page. @param {unknown} fault */
function showNoShelf(fault) {
  bar.replaceChildren(h('span', {}, '■ Nothing can be kept on this phone.'));
  show(h('h1', {}, 'This browser keeps nothing'), h('p', { role: 'alert' }, 'Records would be lost with the page, so none are taken. Leave private browsing, allow this server to store data, or make room on the phone; then open the page again.'),
    h('p', { class: 'source' }, `What the browser says: ${fault instanceof Error ? fault.message : String(fault)}`),
    h('button', { type: 'button', class: 'big', onclick: () => location.reload() }, 'Try again'));
}

async function begin() {
  onChange(() => void drawQueue());
  await drawQueue();
  if (await keptDay()) await showDay();
  await refresh();
  keepTrying();
}

try {
  await begin();
} catch (fault) {
  showNoShelf(fault);
}
if ('serviceWorker' in navigator) await navigator.serviceWorker.register('/sw.js');
