// @ts-check
// Records on their way to the server. Each is sent under an id of its own until the server has answered, so that a lost
// reply and a second tab make no second record. One that is refused waits for its technician and holds up no other.

import { call } from './api.js';
import { holdAgainst } from './kept.js';
import { drop, keep, waiting } from './shelf.js';
import { hear } from './time.js';
import { markSent, saveOnce } from './work.js';

/** @typedef {import('./shelf.js').Waiting} Waiting */
/** @typedef {'idle' | 'sending' | 'offline' | 'foreign' | 'signed_out'} State */

/** @type {State} */
let state = 'idle';
let pause = 0;
/** @type {ReturnType<typeof setTimeout> | undefined} */
let timer;
/** @type {Set<() => void>} */
const listeners = new Set();

/** @param {() => void} listener */
export const onChange = (listener) => void listeners.add(listener);
export const queueState = () => state;

/** Two tabs share one queue: what one does, the other shows. */
const tabs = new BroadcastChannel('queue');
tabs.onmessage = (event) => told(event.data);

/** @param {State} next */
function told(next) {
  state = next;
  for (const listener of listeners) listener();
}

/** @param {State} next */
function become(next) {
  told(next);
  tabs.postMessage(next);
}

/**
 * Puts the record of begun work on the phone and tries to send it. Resolves when it is on the disk; rejects when the phone
 * cannot keep it.
 * @param {Waiting} item @returns {Promise<boolean>} false when it was saved already
 */
export async function save(item) {
  const saved = await saveOnce(item);
  wake();
  return saved;
}

/** Sends a record again that was refused. @param {Waiting} item */
export async function sendAgain(item) {
  await keep(item);
  wake();
}

/** Takes a record off the phone that is written down elsewhere. @param {Waiting} item */
export async function takeOff(item) {
  await markSent(item, { id: item.id, lines: item.record.lines }, null);
  become(state);
}

function wake() {
  pause = 0;
  become(state);
  void flush();
}

/** When it is looked again whether another tab has left something. */
const LOOK_AGAIN_MS = 3000;
/** When it is asked again whether a copy holds what was sent. */
const ASK_AGAIN_MS = 300_000;

/** Sends what waits. Only one tab does it at a time. */
export async function flush() {
  clearTimeout(timer);
  const asked = performance.now();
  const me = await call('GET', '/api/v1/me');
  if (me.status === 401) return become('signed_out');
  const sender = me.body?.person?.id;
  if (me.status !== 200 || typeof sender !== 'string') return later(me.wait, me.foreign || me.status === 200);
  hear(me.body.now, asked);
  await navigator.locks.request('sending', { ifAvailable: true }, async (lock) => {
    // Another sends already, and says how it goes. It may have looked just before this record came, so it is looked again.
    if (lock === null) return void (timer = setTimeout(() => void flush(), LOOK_AGAIN_MS));
    become('sending');
    // Before anything new goes: its receipt would be of records in which what was sent before may be missing.
    const asks = await holdAgainst(sender).catch(() => true);
    let sent = 0;
    for (let item = await next(sender); item !== undefined; item = await next(sender)) {
      if (!(await sendOne(item))) return;
      sent += 1;
    }
    pause = 0;
    become('idle');
    if (asks || sent > 0) timer = setTimeout(() => void flush(), ASK_AGAIN_MS);
  });
}

/** What is to be sent next, also if it came while others were sent. A record goes out under the name of whoever made it; a colleague's waits for the colleague. @param {string} sender */
const next = async (sender) => (await waiting()).find((item) => item.state !== 'refused' && item.by === sender);

/**
 * @param {Waiting} item
 * @returns {Promise<boolean>} whether to go on with the next one
 */
async function sendOne(item) {
  const body = { ...item.record, sent_at: new Date().toISOString() };
  const answer = await call('PUT', `/api/v1/applications/${item.id}`, body);
  const taken = answer.status === 200 || answer.status === 201;
  if (taken && answer.body?.id === item.id) {
    // The day on the phone was downloaded before: the stop must not look open because its record has left the queue.
    // A phone without room for the mark still has none for a record that is in the book.
    const [sent, receipt] = [{ id: item.id, lines: item.record.lines }, answer.receipt ?? null];
    await markSent(item, sent, receipt).catch(() => markSent(item, sent, receipt, false)).catch(() => drop(item.id));
    become('sending');
    return true;
  }
  if (answer.status === 401) {
    become('signed_out');
    return false;
  }
  // An answer that is not this record says nothing of it: it may be anybody's, so the record stays and goes again.
  const temporary = taken || answer.status === 0 || answer.status === 408 || answer.status === 429 || answer.status >= 500;
  if (temporary) {
    await keep({ ...item, tries: item.tries + 1 });
    later(answer.wait, taken || answer.foreign);
    return false;
  }
  // It will never be taken as it is: the technician reads why, and the others go on.
  await keep({ ...item, state: 'refused', problem: answer.problem });
  become('sending');
  return true;
}

/**
 * Tries again after a while that grows and is never the same on two phones.
 * @param {number | null} wait in seconds @param {boolean} foreign somebody answered who is not this server, or not to this
 */
function later(wait, foreign) {
  pause = Math.min(pause === 0 ? 5 : pause * 2, 300);
  const seconds = wait ?? pause * (0.5 + Math.random() / 2);
  timer = setTimeout(() => void flush(), seconds * 1000);
  become(foreign ? 'foreign' : 'offline');
}

/** Tries whenever there may be a network again. */
export function keepTrying() {
  const now = () => {
    pause = 0;
    void flush();
  };
  addEventListener('online', now);
  addEventListener('pageshow', now);
  document.addEventListener('visibilitychange', () => document.visibilityState === 'visible' && now());
  now();
}
