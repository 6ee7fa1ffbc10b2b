// @ts-check
// The technician's phone: connect once, then today's stops, and the records that wait to be sent, always in sight.

import { openPoints } from './answer.js';
import { call } from './api.js';
import { downloadDay, keptDay, lookAgain } from './day.js';
import { clock, h, helpLink, phoneName, replace, turnTo } from './dom.js';
import { forgetFiles } from './files.js';
import { standing } from './ground.js';
import { flush, keepTrying, onChange, queueState } from './queue.js';
import { RECEIPT, receiptPart } from './receipt.js';
import { refusedPage } from './refused.js';
import { leavingPage } from './leaving.js';
import { download, downloaded, waiting } from './shelf.js';
import { stopPage, tellStop } from './stop.js';
import { clockWords, onJump, startClock } from './time.js';
import { adoptOldWork, begunBy, forget, keptOf } from './work.js';

const main = /** @type {HTMLElement} */ (document.getElementById('main'));
const bar = /** @type {HTMLElement} */ (document.getElementById('queue'));

/** What the list of stops was last drawn from; nothing while another page shows. */
let drawn = '';
/** Another page than the list shows, and nothing may take it away from whoever works on it. */
let elsewhere = false;
/** Counts the pages that were shown: what was begun before another page came must not push that one away. */
let turn = 0;
/** Counts what the queue has told: a list that was gathered before must not stand. */
let changes = 0;
/** How the last download went, where that must be said. */
let note = '';
/** How often a page that shows asks whether the day has changed, in milliseconds. */
const LOOK = 240_000;
let looking = false;
/** The day is being downloaded because somebody asked for it. */
let busy = false;
/** The server has taken this phone for somebody's. */
let connected = false;
/** How a download went, where that must be said. */
const NOTES = {
  fresh: '',
  offline: '▲ The server does not answer. This is the day as it was downloaded.',
  unfinished: '▲ The download did not finish. This is the day as it was downloaded before.',
  signed_out: '▲ This phone is not connected any more. This is the day as it was downloaded.',
};
/** What a page that was left has to say; said once. */
let parting = '';

/** Somebody signs out: nothing is downloaded any more. */
let leaving = false;
/** What is being downloaded. @type {Promise<unknown>} */
let running = Promise.resolve();

/** @param {...(Node | null)} nodes */
function show(...nodes) {
  drawn = '';
  elsewhere = true;
  turn += 1;
  turnTo(main, nodes.filter((node) => node !== null));
}

/** The phone's own way back leads from a stop to the list, and not out of the page. @param {() => Promise<void>} work */
async function enter(work) {
  parting = '';
  if (history.state !== 'inside') history.pushState('inside', '');
  await work();
}

/** @param {string} [words] to be said on the list */
function leave(words = '') {
  parting = words;
  if (history.state === 'inside') history.back();
  else void showDay();
}

/** Records that wait: my own, and those of a colleague who used this phone. */
async function queued() {
  const [items, day] = [await waiting(), await keptDay()];
  const mine = items.filter((item) => day === undefined || item.by === day.me.person.id);
  return { mine, refused: mine.filter((item) => item.state === 'refused'), others: items.length - mine.length };
}

async function drawQueue() {
  const { mine, refused, others } = await queued();
  const unsent = mine.length - refused.length;
  const how = { idle: '', sending: ' Sending.', offline: ' No network; it goes by itself later.', foreign: ' The reply was not the record; trying again.', signed_out: ' Connect this phone again to send.' }[queueState()];
  const words = unsent > 0 ? `● ${unsent} waiting.${how}` : refused.length > 0 ? '' : `✓ Nothing is waiting to be sent.${queueState() === 'signed_out' && (await keptDay()) ? how : ''}`;
  const need = h('button', { type: 'button', class: 'pick', 'data-key': 'refused', onclick: () => void enter(showRefused) }, refused.length === 1 ? '▲ 1 record was refused: open it' : `▲ ${refused.length} records were refused: open them`);
  const enrol = h('button', { type: 'button', class: 'pick', 'data-key': 'connect', onclick: () => void showEnrol('') }, 'Connect again');
  const again = queueState() === 'signed_out' && (await keptDay());
  const nodes = [h('span', {}, words), refused.length > 0 ? need : null, again ? enrol : null, others > 0 ? h('span', {}, `● ${others} of a colleague, sent when the colleague connects here.`) : null];
  replace(bar, () => nodes.filter((node) => node !== null));
  if (drawn !== '') await drawStops(false);
}

/** Says what has changed, on the list or at the top of the stop that is open. */
async function tell() {
  tellStop((await keptDay())?.gone ?? []);
  if (drawn !== '') await drawStops(false);
}

async function showRefused() {
  const day = await keptDay();
  const stops = day ? stopsOf(day).map(({ stop }) => stop) : [];
  show(await refusedPage((await queued()).refused, day?.me.time_zone ?? Intl.DateTimeFormat().resolvedOptions().timeZone, stops, leave));
}

/** The stops of the list: those of the day, and those that are not on it any more. @param {import('./day.js').Day} day @returns {import('./gone.js').Gone[]} */
const stopsOf = (day) => [...day.day.visits.map((/** @type {any} */ stop) => ({ stop, decision: day.decisions[stop.visit.id], fate: '' })), ...(day.gone ?? [])];

/** The list of stops, drawn anew only where something changed, so that it does not move under a thumb. */
async function drawStops(/** @type {boolean} */ anyway) {
  const begun = turn;
  const day = await keptDay();
  if (!day) return showNoDay();
  const receipt = /** @type {string | undefined} */ (await downloaded(RECEIPT));
  /** @type {import('./work.js').Kept} */
  let kept;
  let seen;
  do {
    seen = changes;
    kept = await keptOf(day.me.person.id);
  } while (seen !== changes);
  const listed = stopsOf(day);
  const stands = listed.map(({ stop, decision, fate }) => ({ ...standing(stop, decision, day, kept), fate }));
  const words = clockWords(day.at, day.me.time_zone);
  const from = JSON.stringify([day.at, stands, note, parting, words, busy, receipt]);
  // While this was gathered, somebody may have opened a stop.
  if (turn !== begun || from === drawn || (!anyway && drawn === '')) return;
  const stops = listed.map(({ stop, decision, fate }, at) => {
    const { state, kind } = stands[at];
    const points = kind === 'done' || fate !== '' ? [] : openPoints(stop, decision, day);
    const open = async () => show(await stopPage(stop, decision, day, stands[at], leave));
    return h('li', {}, h('button', { type: 'button', class: 'stop-button', 'data-key': stop.visit.id, onclick: () => void enter(open) },
      h('strong', {}, `${at + 1}. ${stop.property.address}`),
      h('span', {}, `${stop.client_name}: ${stop.sections.map((/** @type {any} */ section) => section.name).join(', ')}`),
      fate === '' ? null : h('span', { class: 'state stop' }, `■ ${fate}`),
      fate === '' || kind === 'done' || stands[at].begun ? h('span', { class: `state ${kind}` }, state) : null,
      ...points.map((words) => h('span', { class: 'open-point' }, `▲ ${words}`))));
  });
  const on = dayAt(day.at, day.me.time_zone);
  const age = `Updated ${on === day.day.day ? '' : `${longDay(on)}, `}${clock(day.at, day.me.time_zone)}.`;
  const wrong = words === '' ? null : h('p', { class: 'caution', role: 'status' }, words);
  const nodes = [h('h1', {}, longDay(day.day.day)), h('p', {}, `${day.me.person.name}. ${age}`), ...[parting, note].map((said) => (said === '' ? null : h('p', { role: 'status' }, said))), wrong,
    stops.length > 0 ? h('ol', { class: 'stops' }, ...stops) : h('p', {}, 'No stops are planned for you on this day.'),
    h('button', { type: 'button', class: 'plain', 'data-key': 'again', 'aria-busy': busy ? 'true' : 'false', onclick: () => void refresh() }, busy ? 'Downloading the day …' : 'Download the day again'),
    helpLink('', 'Help'),
    receiptPart(receipt),
    h('div', { class: 'apart' }, h('button', { type: 'button', class: 'plain', 'data-key': 'off', onclick: () => void enter(signOut) }, 'Sign out and erase'))].filter((node) => node !== null);
  if (drawn === '') show(...nodes);
  else replace(main, () => nodes);
  drawn = from;
  elsewhere = false;
}

/** @param {Awaited<ReturnType<typeof downloadDay>>} [how] the download went, if there was one just now */
async function showDay(how) {
  if (how) note = NOTES[how];
  drawn = '';
  await drawStops(true);
}

/** Enrolled, and the first download has not finished: there is nothing to show instead. */
async function showNoDay() {
  if (!connected) return showEnrol('');
  show(h('h1', {}, 'The day is not on this phone yet'), h('p', { role: 'alert' }, note), h('button', { type: 'button', class: 'big', onclick: () => void refresh() }, 'Download the day'));
}

/** The day of a moment at a place, year first. @param {number} at @param {string} zone */
const dayAt = (at, zone) => new Intl.DateTimeFormat('en-CA', { timeZone: zone, year: 'numeric', month: '2-digit', day: '2-digit' }).format(new Date(at));

/** @param {string} day year first */
const longDay = (day) => new Date(`${day}T12:00:00Z`).toLocaleDateString('en-US', { weekday: 'long', month: 'long', day: 'numeric', timeZone: 'UTC' });

/** Asks before anything is erased; what is only on this phone is never erased unasked. */
async function signOut() {
  const day = await keptDay();
  if (!day) return showEnrol('');
  const me = day.me.person.id;
  const erase = async () => {
    leaving = true;
    // A download that is under way would put the day back on the phone, and its page over this one.
    await running.catch(() => undefined);
    await forget(me);
    await forgetFiles();
    await download('leaving', true);
    await endSession();
  };
  show(...leavingPage((await queued()).mine.length, await begunBy(me), day.me.time_zone, { back: () => leave(), send: () => void flush(), erase: () => void erase() }));
}

/** Ends the session on the server; without a network, as soon as there is one. */
async function endSession() {
  connected = false;
  const answer = await call('DELETE', '/api/v1/sessions/current');
  const ended = answer.status === 204 || answer.status === 401;
  leaving = false;
  if (ended) await download('leaving', false);
  showEnrol(ended ? '' : 'Your data is off this phone. There is no network, so the server does not know yet that you signed out: open this page again when there is one.');
}

/** Asks now and then whether the day has changed; whoever works on a page is told at its top, and not taken away from it. */
async function look() {
  if (looking || leaving || document.visibilityState !== 'visible' || !(await keptDay())) return;
  looking = true;
  const asked = lookAgain().finally(() => (looking = false));
  running = Promise.allSettled([running, asked]);
  const how = await asked;
  if (how === 'same' || leaving) return;
  note = NOTES[how];
  await tell();
}

async function refresh() {
  if (busy || leaving) return;
  busy = true;
  const asked = (drawn === '' ? Promise.resolve() : drawStops(false)).then(downloadDay).finally(() => (busy = false));
  running = Promise.allSettled([running, asked]);
  const how = await asked;
  // Whoever signs out meanwhile is shown that.
  if (leaving) return;
  if (how === 'signed_out' && !(await keptDay())) return showEnrol('');
  note = NOTES[how];
  connected = how === 'fresh' || how === 'unfinished' || (connected && how !== 'signed_out');
  if (!elsewhere) await drawStops(true);
  else if (!(await keptDay())) await showNoDay();
}

/** @param {string} fault */
async function showEnrol(fault) {
  const code = /** @type {HTMLInputElement} */ (h('input', { id: 'code', autocomplete: 'one-time-code', autocapitalize: 'characters', spellcheck: 'false' }));
  code.value = location.hash.slice(1).replace(/[^0-9A-Za-z-]/g, '');
  const enrol = async (/** @type {Event} */ event) => {
    event.preventDefault();
    const answer = await call('POST', '/api/v1/devices', { code: code.value, name: phoneName(navigator.userAgent), in_browser: true });
    if (answer.status !== 201) return showEnrol(answer.problem?.detail ?? 'There is no network. Connecting needs one, once.');
    history.replaceState(null, '', location.pathname);
    connected = true;
    await download('leaving', false);
    await navigator.storage?.persist?.();
    // Another person's day is not to be seen under a new name, not even when the first download fails. What that person began
    // stays for them.
    if ((await keptDay())?.me.person.id !== answer.body.device.person_id) await forget('');
    await showDay(await downloadDay());
    void flush();
  };
  const back = h('button', { type: 'button', class: 'plain', onclick: () => void showDay() }, '‹ Back to the day');
  show((await keptDay()) ? back : null, h('h1', {}, 'Connect this phone'), h('p', {}, 'Ask the office for a code. It is good for ten minutes and for one phone.'),
    h('form', { onsubmit: (/** @type {Event} */ event) => void enrol(event) }, h('label', { for: 'code' }, 'Code'), code, h('p', { role: 'alert', class: 'fault' }, fault), h('button', { class: 'big' }, 'Connect')), helpLink('/people#connect-a-phone', 'Help: connect a phone'));
}

/** Whether the address holds a code, as the picture's link does. */
const coded = () => location.hash.length > 1;

/** A browser that keeps nothing must not be worked with: a record would be lost with the page. @param {unknown} fault */
function showNoShelf(fault) {
  bar.replaceChildren(h('span', {}, '■ Nothing can be kept on this phone.'));
  show(h('h1', {}, 'This browser keeps nothing'), h('p', { role: 'alert' }, 'Records would be lost with the page, so none are taken. Leave private browsing, allow this server to store data, or make room on the phone; then open the page again.'),
    h('p', { class: 'source' }, `What the browser says: ${fault instanceof Error ? fault.message : String(fault)}`),
    h('button', { type: 'button', class: 'big', onclick: () => location.reload() }, 'Try again'));
}

async function begin() {
  await adoptOldWork();
  await startClock();
  onJump(() => void tell());
  onChange(() => {
    changes += 1;
    void drawQueue();
  });
  await drawQueue();
  addEventListener('popstate', () => void (coded() ? showEnrol('') : showDay()));
  if (await downloaded('leaving')) await endSession();
  // A code in the address was opened on purpose: a phone whose session ended is enrolled again with it.
  else if (coded()) await showEnrol('');
  else {
    if (await keptDay()) await showDay();
    await refresh();
  }
  keepTrying();
  addEventListener('online', () => void look());
  document.addEventListener('visibilitychange', () => void look());
  setInterval(() => void look(), LOOK);
}

try {
  await begin();
} catch (fault) {
  showNoShelf(fault);
}
if ('serviceWorker' in navigator) await navigator.serviceWorker.register('/sw.js');
